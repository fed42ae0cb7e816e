"""Where the log of the process goes."""

from __future__ import annotations

import logging


def log_to_stderr() -> None:
    """Write what operators must see, refused tokens and alarms among it, with its moment."""
    logging.basicConfig(format="%(asctime)s %(levelname)s %(name)s %(message)s")
    logging.getLogger("limbtier").setLevel(logging.INFO)
