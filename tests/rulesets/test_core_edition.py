"""The rule files of the project load as a whole."""

from __future__ import annotations

from pathlib import Path

from limbtier.domain.condition import names
from limbtier.measures.registry import MEASURES
from limbtier.rulesets.repository import RuleRepository

RULES = Path(__file__).parents[2] / "rules"


def test_everything_in_the_rules_folder_loads() -> None:
    repository = RuleRepository(RULES)
    core = repository.edition("core-2026.1.0")
    assert core.rules
    assert core.cases
    assert repository.guard_rails(core.id).version == core.guard_rails


def test_every_input_of_the_core_edition_is_read_by_something() -> None:
    repository = RuleRepository(RULES)
    core = repository.edition("core-2026.1.0")
    read = {name for rule in core.rules for name in names(rule.when)}
    read |= {name for measure in MEASURES for name in measure.ingredients}
    read |= {
        name
        for entry in core.vocabulary.inputs.values()
        if entry.asked_when is not None
        for name in names(entry.asked_when)
    }
    read |= {
        name
        for rail in repository.guard_rails(core.id).rails
        for check in rail.checks
        for name in names(check.when)
    }
    unread = set(core.vocabulary.inputs) - read
    assert unread <= {"dressing_thickness_mm", "ankle_girth_cm", "calf_girth_cm"}, (
        "asked, but read by nothing"
    )
