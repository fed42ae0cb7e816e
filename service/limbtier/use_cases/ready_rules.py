"""Loads the rules folder and makes every edition ready to decide."""

from __future__ import annotations

from pathlib import Path

from limbtier.engine.matcher import MatcherPool
from limbtier.engine.prepared import prepare
from limbtier.rulesets.repository import RuleRepository
from limbtier.use_cases.decide import ReadyRules


def ready_rules(folder: Path) -> ReadyRules:
    """Everything under the rules folder, checked. Raises InvalidRuleFiles that names every fault at once."""
    repository = RuleRepository(folder)
    snapshot = repository.snapshot
    return ReadyRules.of(
        [
            prepare(edition, snapshot.guard_rails[edition_id], MatcherPool)
            for edition_id, edition in snapshot.editions.items()
        ],
        snapshot.calendars,
    )
