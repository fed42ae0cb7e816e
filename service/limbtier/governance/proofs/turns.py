"""Whose turn it is with the solver: its state is one for a whole process, and no two threads may use it at
once."""

from __future__ import annotations

import threading
from typing import Final

SOLVER: Final = threading.RLock()
"""Held by a thread for as long as it makes formulas and asks about them."""
