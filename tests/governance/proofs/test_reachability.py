"""Rules that can never apply, never matter or are not needed are found; others are not accused."""

from __future__ import annotations

from dataclasses import replace

import pytest

from limbtier.domain.condition import AllOf, NoneOf, ValueTest
from limbtier.domain.edition import Edition
from limbtier.domain.interval import Within
from limbtier.domain.rule import Conclusions, Limit, Rule
from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.proofs.reachability import (
    Example,
    Never,
    Subsumed,
    disposition_can_come_out,
    rule_can_apply,
    rule_matters,
    subsumed_rules,
    tier_can_be_given,
)
from limbtier.governance.proofs.workbench import Workbench
from limbtier.use_cases.decide import ReadyRules
from tests.governance.proofs.catching import prepared_mutant
from tests.governance.proofs.mutations import Edit, limited, on_rule, rewritten


def bench_of(core: PreparedEdition, rules: ReadyRules, edit: Edit) -> Workbench:
    return Workbench(prepared_mutant(edit(core.edition), core.guard_rails), rules.calendars)


def with_rule(when: object, then: Conclusions) -> Edit:
    def edit(edition: Edition) -> Edition:
        rule = Rule("added", "", when, then, "", (), "", "", 1)  # type: ignore[arg-type]
        return rewritten(edition, [*edition.rules, rule])

    return edit


LEAKING = ValueTest("leaking", ("yes",))


@pytest.mark.parametrize(
    "when",
    [
        AllOf((LEAKING, NoneOf((LEAKING,)))),
        # A site is asked only of a wound, and the age of the swelling only of a swelling.
        AllOf((ValueTest("wound", ("none",)), ValueTest("wound_site", ("leg",)))),
        # Nothing that classifies it leaves the danger sign unsaid.
        AllOf((ValueTest("suspected_dvt", ("yes",)), ValueTest("danger_sign", ("no",)))),
    ],
    ids=["contradiction", "not asked", "through a fact"],
)
def test_a_rule_that_can_never_apply_is_found(when: AllOf, core: PreparedEdition, rules: ReadyRules) -> None:
    bench = bench_of(core, rules, with_rule(when, Conclusions(limit=Limit("mild"))))
    assert rule_can_apply(bench, "added") == Never()


def test_an_example_is_decided_by_the_engine_and_can_be_reduced(
    core: PreparedEdition, rules: ReadyRules
) -> None:
    bench = Workbench(core, rules.calendars)
    found = rule_can_apply(bench, "stent", reduced=True)
    assert isinstance(found, Example)
    assert set(found.request["limbs"]["left"]) == {"arterial_graft_or_stent", "vascular_advice"}
    place = [rule.id for rule in core.edition.rules].index("stent")
    assert found.decided.decision.trace.rules[place] == 2
    with pytest.raises(KeyError):
        rule_can_apply(bench, "no-such-rule")


def test_a_limit_that_another_always_undercuts_never_matters(
    core: PreparedEdition, rules: ReadyRules
) -> None:
    when = AllOf((LEAKING, ValueTest("signs_of_sepsis", ("yes",))))
    bench = bench_of(core, rules, with_rule(when, Conclusions(limit=Limit("support"))))
    assert rule_matters(bench, "added") is False
    assert rule_matters(bench, "sepsis") is True


def test_a_rule_that_only_classifies_matters_by_what_reads_the_fact(
    core: PreparedEdition, rules: ReadyRules
) -> None:
    bench = Workbench(core, rules.calendars)
    assert rule_matters(bench, "established") is True
    when = ValueTest("suspected_dvt", ("yes",))
    again = bench_of(core, rules, with_rule(when, Conclusions(classify=("danger_sign",))))
    assert rule_matters(again, "added") is False


def test_a_rule_that_another_makes_needless_is_found(core: PreparedEdition, rules: ReadyRules) -> None:
    when = AllOf((LEAKING, ValueTest("sensation", ("reduced",))))
    wider = on_rule("wet-review", lambda rule: replace(rule, when=LEAKING))
    narrow = with_rule(when, Conclusions(review=review_of(core)))
    bench = bench_of(core, rules, lambda edition: narrow(wider(edition)))
    assert subsumed_rules(bench) == (Subsumed("added", "wet-review"),)


def review_of(core: PreparedEdition) -> Within | None:
    return next(rule.then.review for rule in core.edition.rules if rule.id == "wet-review")


def test_a_tier_and_a_disposition_that_nothing_reaches_are_found(
    core: PreparedEdition, rules: ReadyRules
) -> None:
    def mild_at_most(edition: Edition) -> Edition:
        return rewritten(
            edition,
            [
                replace(rule, then=replace(rule.then, propose="mild")) if rule.then.propose else rule
                for rule in edition.rules
            ],
        )

    bench = bench_of(core, rules, mild_at_most)
    assert tier_can_be_given(bench, "moderate") == Never()
    assert isinstance(tier_can_be_given(bench, "mild"), Example)
    always = with_rule(AllOf(()), Conclusions(limit=Limit("withhold")))
    stopped = bench_of(core, rules, always)
    assert disposition_can_come_out(stopped, "start") == Never()
    assert isinstance(disposition_can_come_out(stopped, "stop_and_escalate"), Example)
    assert limited("stent", "mild")(core.edition) != core.edition
