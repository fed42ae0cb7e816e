"""Everything that must hold of every edition is proved of the core edition."""

from __future__ import annotations

from limbtier.domain.decision import DISPOSITIONS
from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.proofs.prove import prove_edition, prove_rule
from limbtier.governance.proofs.reachability import (
    Example,
    disposition_can_come_out,
    rule_can_apply,
    rule_matters,
    subsumed_rules,
    tier_can_be_given,
)
from limbtier.governance.proofs.verdict import Proved, Verdict
from limbtier.governance.proofs.workbench import Workbench
from limbtier.use_cases.decide import ReadyRules


def test_every_statement_is_proved(core: PreparedEdition, rules: ReadyRules) -> None:
    told: list[Verdict] = []
    found = prove_edition(core, rules.calendars, told.append)
    assert [one for one in found if not isinstance(one, Proved)] == []
    assert told == found
    ids = [one.statement.id for one in found]
    assert len(set(ids)) == len(ids)
    lifting = {f"{rule.id}-lifts" for rule in core.edition.rules if rule.then.limit and rule.then.limit.until}
    general = {
        "danger-signs-heard",
        "exactly-one-outcome",
        "plan-names-a-lift",
        "complete-answers-decide",
        "order-never-matters",
    }
    assert set(ids) == {rail.id for rail in core.guard_rails.rails} | lifting | general
    assert not any(one.note.startswith("the rule applies in no") for one in found if isinstance(one, Proved))


def test_one_rule_is_proved_by_itself(core: PreparedEdition, rules: ReadyRules) -> None:
    found = prove_rule(core, rules.calendars, "stent")
    assert all(isinstance(one, Proved) for one in found)
    assert {"stent-lifts", "danger-sign-withholds"} <= {one.statement.id for one in found}


def test_every_rule_tier_and_disposition_is_reached_and_every_rule_matters(
    core: PreparedEdition, rules: ReadyRules
) -> None:
    bench = Workbench(core, rules.calendars)
    for rule in core.edition.rules:
        assert isinstance(rule_can_apply(bench, rule.id), Example), rule.id
        assert rule_matters(bench, rule.id) is True, rule.id
    for tier in core.ranks:
        assert isinstance(tier_can_be_given(bench, tier), Example), tier
    for disposition in DISPOSITIONS:
        assert isinstance(disposition_can_come_out(bench, disposition), Example), disposition
    assert subsumed_rules(bench) == ()
