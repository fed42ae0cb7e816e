"""A service that is killed at any moment has logged every decision that it gave: see tests.benchmarks."""

from __future__ import annotations

import random
from pathlib import Path

from tests.benchmarks.stress import stress
from tests.benchmarks.stress_http import Service


def test_every_decision_given_before_a_kill_is_in_the_log_once(tmp_path: Path) -> None:
    database, keys = str(tmp_path / "log.sqlite3"), tmp_path / "keys"
    outcome = stress(Service(database, keys), database, keys, 3, random.Random(7))
    assert outcome.runs == 3
    assert outcome.acknowledged
    assert outcome.lost == []
