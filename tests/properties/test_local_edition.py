"""What the invented local edition says of itself: it is never less strict than the core edition."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.domain.assessment import Assessment
from limbtier.domain.decision import LimbDecision
from limbtier.engine.decide import decide_limb, facts_of_limb
from limbtier.engine.interpreter import read_rules
from limbtier.engine.prepared import PreparedEdition
from limbtier.measures.working_days import WorkingCalendar
from limbtier.rulesets.read_lists import TIERS_IN_ORDER
from limbtier.use_cases.decide import ReadyRules
from tests.support.assessments import AssessmentMaker

seeds = st.integers(0, 2**48)
DecideBoth = Callable[[Assessment], tuple[LimbDecision, LimbDecision]]


@pytest.fixture(scope="module")
def local(rules: ReadyRules) -> PreparedEdition:
    return rules.editions["quillerbeck-2026.1.0"]


@pytest.fixture(scope="module")
def maker(local: PreparedEdition) -> AssessmentMaker:
    return AssessmentMaker(local)


@pytest.fixture(scope="module")
def decide_both(local: PreparedEdition, core: PreparedEdition, england: WorkingCalendar) -> DecideBoth:
    """Return what decides by both editions; it raises when engines disagree or a guard rail is broken."""
    return lambda one: (decide_limb(local, "left", one, england), decide_limb(core, "left", one, england))


@settings(max_examples=500)
@given(seed=seeds)
def test_no_tier_is_higher_and_no_review_or_arrangement_later_than_in_the_core_edition(
    seed: int, maker: AssessmentMaker, decide_both: DecideBoth
) -> None:
    here, there = decide_both(maker.make(seed))
    rank = TIERS_IN_ORDER.index
    assert rank(here.tier) <= rank(there.tier)
    assert rank(here.highest_possible_tier) <= rank(there.highest_possible_tier)
    assert here.review.due_on <= there.review.due_on
    due, due_there = due_days(here), due_days(there)
    assert {what: day for what, day in due_there.items() if due.get(what, date.max) > day} == {}


def due_days(decision: LimbDecision) -> dict[str, date]:
    """The day of each arrangement that is due; one may also be pending, to come sooner."""
    return {entry.what: entry.due_on for entry in decision.arrangements if entry.due_on is not None}


@settings(max_examples=200)
@given(seed=seeds)
def test_compiled_rules_read_the_local_edition_as_the_interpreter_does(
    seed: int, maker: AssessmentMaker, local: PreparedEdition
) -> None:
    edition = local.edition
    facts = facts_of_limb(local, maker.make(seed), "left")
    states, derived = read_rules(edition.rules, edition.strata, tuple(edition.vocabulary.facts), facts)
    compiled_states, _, compiled_derived = local.rules.read(facts)
    assert list(compiled_states) == states
    assert compiled_derived == derived
