"""Processes that append are killed at random moments; nothing that was acknowledged is lost.

A few kills only; `python -m tests.benchmarks.stress` does hundreds.
"""

from __future__ import annotations

import random
from pathlib import Path

from tests.benchmarks.stress import Appenders, stress


def test_processes_killed_while_they_append_lose_nothing(address: str, tmp_path: Path) -> None:
    keys = tmp_path / "keys"
    outcome = stress(Appenders(address, keys, processes=2), address, keys, 3, random.Random())
    assert outcome.lost == []
    assert outcome.entries >= len(outcome.acknowledged)
    assert outcome.checkpoints > 1
