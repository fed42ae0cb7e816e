"""Loads the rules folder and makes every edition ready to decide."""

from __future__ import annotations

from pathlib import Path

from limbtier.engine.matcher import MatcherPool
from limbtier.engine.prepared import prepare
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.settings import DEFAULT_RULE_SET, InvalidSettings
from limbtier.rulesets.repository import RuleRepository
from limbtier.use_cases.decide import ReadyRules


def ready_rules(folder: Path, rule_set: str | None = None) -> ReadyRules:
    """Everything under the rules folder, checked. `rule_set` decides when nobody asks for an edition; one
    that is given must be there.

    Raises InvalidRuleFiles that names every fault at once, or InvalidSettings.
    """
    repository = RuleRepository(folder)
    snapshot = repository.snapshot
    sets = sorted({edition.name for edition in snapshot.editions.values()})
    if rule_set is not None and rule_set not in sets:
        message = f"LIMBTIER_RULE_SET: the rules folder holds no set `{rule_set}`."
        advice = did_you_mean(rule_set, sets, f"Name one of {', '.join(sets)}.")
        raise InvalidSettings([Diagnostic("invalid-setting", message, advice)])
    return ReadyRules.of(
        [
            prepare(edition, snapshot.guard_rails[edition_id], MatcherPool)
            for edition_id, edition in snapshot.editions.items()
        ],
        snapshot.calendars,
        rule_set or DEFAULT_RULE_SET,
    )
