"""Two editions are equivalent, or every change in what they decide is named, with conditions that suffice."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest

from limbtier.domain.condition import AllOf, EdgeTest, NoneOf, ValueTest
from limbtier.domain.edition import Edition
from limbtier.domain.interval import Interval
from limbtier.domain.vocabulary import Choice, Input, Range
from limbtier.engine.decide import decide_limb
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.errors import GuardRailBroken
from limbtier.governance.proofs.comparison import Comparison, compare
from limbtier.use_cases.decide import ReadyRules
from tests.governance.proofs.catching import prepared_mutant
from tests.governance.proofs.mutations import Edit, concluding, edges, limited, on_rule, removed, setting
from tests.support.assessments import AssessmentMaker


def compared(
    core: PreparedEdition, rules: ReadyRules, edit: Edit, most: int = 200
) -> tuple[PreparedEdition, Comparison]:
    after = prepared_mutant(replace(edit(core.edition), version="2026.2.0"), core.guard_rails)
    return after, compare(core, after, rules.calendars, most=most, most_of_a_kind=1)


def test_an_edition_is_equivalent_to_itself(core: PreparedEdition, rules: ReadyRules) -> None:
    assert compare(core, core, rules.calendars).equivalent


@pytest.mark.parametrize(
    "edit",
    [
        # Other words for the same conditions.
        on_rule("stent", lambda rule: replace(rule, when=AllOf((rule.when, rule.when)))),
        on_rule("limb-threat", lambda rule: replace(rule, when=NoneOf((NoneOf((rule.when,)),)))),
        # A limit below which another stands whenever it applies.
        limited("critical-pressure", "support"),
        # No decision waits for this setting: every rule that withholds has a shorter review of its own.
        setting("review_stop_and_escalate", Interval("days", 14)),
    ],
    ids=["written twice", "denied twice", "a limit that another undercuts", "a setting that never decides"],
)
def test_an_edit_that_changes_no_decision_is_proved_to_change_none(
    edit: Edit, core: PreparedEdition, rules: ReadyRules
) -> None:
    _, found = compared(core, rules, edit)
    assert found.regions == ()
    assert found.incomplete == ""


EDITS = {
    "an edge moved": edges("severe-ischaemia", "abpi", below="0.5"),
    "an edge made strict": edges("old-test", "arterial_test_age_days", above=None, at_least=84),
    "a limit raised": limited("reduced-supply-no-advice", "mild"),
    "a fact derived later": edges("established", "days_at_current_tier", at_least=2),
    "a rule taken out": removed("wet-review"),
    "a deadline later": concluding("worsening-first", arrange=()),
}


Named = Callable[[str], tuple[PreparedEdition, Comparison]]


@pytest.fixture(scope="module")
def named(core: PreparedEdition, rules: ReadyRules) -> Named:
    """Each of the edits compared with the core edition, once."""
    return functools.cache(lambda name: compared(core, rules, EDITS[name]))


@pytest.mark.parametrize("name", EDITS)
def test_every_difference_on_random_assessments_is_among_those_named(
    name: str, core: PreparedEdition, rules: ReadyRules, named: Named
) -> None:
    after, found = named(name)
    assert found.incomplete == ""
    assert found.regions
    changes = {region.change for region in found.regions}
    maker, england = AssessmentMaker(core), rules.calendars["england"]
    for seed in range(200):
        assessment = maker.make(seed)
        try:
            one, other = (decide_limb(edition, "left", assessment, england) for edition in (core, after))
        except GuardRailBroken:
            continue  # the service gives no answer by the later edition
        if one.tier != other.tier:
            assert f"tier {one.tier} -> {other.tier}" in changes
        elif one.disposition != other.disposition:
            assert f"disposition {one.disposition} -> {other.disposition}" in changes
        elif one.review.within_hours != other.review.within_hours:
            hours = f"{one.review.within_hours} hours -> {other.review.within_hours} hours"
            assert f"review within {hours}" in changes


def test_a_region_says_what_it_hangs_on_and_shows_it_by_both_editions(named: Named) -> None:
    _, found = named("a limit raised")
    region = next(region for region in found.regions if region.change == "tier support -> mild")
    assert region.direction == "less cautious"
    assert "`vascular_advice` is none" in region.conditions
    assert "`abpi` is 0.6 or more and below 0.8" in region.conditions
    assert "no other rule limits the leg to support or lower" in region.conditions
    assert "tier support" in region.before[0]
    assert "tier mild" in region.after[0]
    assert "tier: mild" in region.worked_case


def test_more_regions_than_are_to_be_named_leave_it_inconclusive(
    core: PreparedEdition, rules: ReadyRules
) -> None:
    after = prepared_mutant(EDITS["a fact derived later"](core.edition), core.guard_rails)
    found = compare(core, after, rules.calendars, most=3)
    assert len(found.regions) == 3
    assert found.incomplete == "inconclusive: more than 3 regions"
    assert not found.equivalent


def test_questions_that_editions_ask_differently_are_named(core: PreparedEdition, rules: ReadyRules) -> None:
    def edit(edition: Edition) -> Edition:
        inputs = dict(edition.vocabulary.inputs)
        wound = inputs["wound"]
        inputs["wound"] = replace(wound, choices=(*wound.choices, Choice("burn", "A burn")))
        inputs["age_years"] = replace(inputs["age_years"], range=Range(Fraction(0), Fraction(110)))
        inputs["smoker"] = another_flag(inputs["diabetes"])
        vocabulary = replace(edition.vocabulary, inputs=inputs)
        return replace(edition, vocabulary=vocabulary)

    _, found = compared(core, rules, edit)
    assert found.unlike_inputs == (
        "`age_years` takes another range of numbers.",
        "`wound` now takes burn.",
        "`smoker` is asked anew.",
    )
    assert found.equivalent


def another_flag(entry: Input) -> Input:
    return replace(entry, name="smoker", question="Does the person smoke?")


def test_a_new_question_that_a_rule_reads_is_seen(core: PreparedEdition, rules: ReadyRules) -> None:
    def edit(edition: Edition) -> Edition:
        inputs = {**edition.vocabulary.inputs}
        inputs["smoker"] = another_flag(inputs["diabetes"])
        asking = on_rule(
            "goal-swelling", lambda rule: replace(rule, when=AllOf((rule.when, ValueTest("smoker", ("no",)))))
        )
        return asking(replace(edition, vocabulary=replace(edition.vocabulary, inputs=inputs)))

    _, found = compared(core, rules, edit, most=12)
    assert found.unlike_inputs == ("`smoker` is asked anew.",)
    region = next(region for region in found.regions if region.change == "tier strong -> withhold")
    assert "it is not sure that `smoker` is no" in region.conditions


def test_an_edge_that_is_exactly_met_makes_the_difference(named: Named) -> None:
    _, found = named("an edge made strict")
    region = next(region for region in found.regions if region.change.startswith("tier"))
    assert "`arterial_test_age_days` is 84 or more" in region.conditions
    assert "it is not so that `arterial_test_age_days` is above 84" in region.conditions
    assert EdgeTest("", at_least=Fraction(84)) != EdgeTest("", above=Fraction(84))
