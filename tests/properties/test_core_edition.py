"""Sentences that must hold for every assessment of the core edition, the unanswered question included."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.domain.assessment import Assessment
from limbtier.domain.decision import LimbDecision
from limbtier.engine.compiled import compile_rules
from limbtier.engine.decide import decide_limb, facts_of_limb
from limbtier.engine.interpreter import read_rules
from limbtier.engine.prepared import PreparedEdition
from limbtier.engine.tiers import tier_range
from limbtier.measures.working_days import WorkingCalendar
from tests.support.assessments import AssessmentMaker, assessment
from tests.support.assessments import given as answers_given

seeds = st.integers(0, 2**48)
Decide = Callable[[Assessment], LimbDecision]


@pytest.fixture(scope="module")
def maker(core: PreparedEdition) -> AssessmentMaker:
    return AssessmentMaker(core)


@pytest.fixture(scope="module")
def decide(core: PreparedEdition, england: WorkingCalendar) -> Decide:
    return lambda one: decide_limb(core, "left", one, england)


@settings(max_examples=600)
@given(seed=seeds)
def test_every_assessment_is_decided_and_breaks_no_guard_rail(
    seed: int, maker: AssessmentMaker, decide: Decide
) -> None:
    decision = decide(maker.make(seed))  # raises when the engines disagree or a guard rail is broken
    assert decision.review.due_on >= maker.make(seed).assessed_on
    assert decision.review.set_by


@settings(max_examples=300)
@given(seed=seeds)
def test_compiled_rules_read_the_core_edition_as_the_interpreter_does(
    seed: int, maker: AssessmentMaker, core: PreparedEdition
) -> None:
    facts = facts_of_limb(core, maker.make(seed), "left")
    edition = core.edition
    states, derived = read_rules(edition.rules, edition.strata, tuple(edition.vocabulary.facts), facts)
    compiled_states, _, compiled_derived = core.rules.read(facts)
    assert list(compiled_states) == states
    assert compiled_derived == derived


@settings(max_examples=300)
@given(seed=seeds)
def test_withdrawing_an_answer_never_raises_the_tier_and_never_delays_the_review(
    seed: int, maker: AssessmentMaker, decide: Decide, core: PreparedEdition
) -> None:
    full = maker.make(seed)
    before = decide(full)
    person, limb = answers_given(full.person), answers_given(full.limbs["left"])
    names = [("person", name) for name in person] + [("limb", name) for name in limb]
    for where, name in random.Random(seed).sample(names, min(6, len(names))):
        fewer_person = {key: value for key, value in person.items() if (where, key) != ("person", name)}
        fewer_limb = {key: value for key, value in limb.items() if (where, key) != ("limb", name)}
        after = decide(assessment(core, fewer_person, fewer_limb))
        rank = core.edition.rank
        assert rank(after.tier) <= rank(before.tier), name
        assert after.review.due_on <= before.review.due_on, name
        assert rank(after.highest_possible_tier) >= rank(before.highest_possible_tier), name


@settings(max_examples=200)
@given(seed=seeds)
def test_a_danger_sign_turned_from_no_to_yes_never_raises_the_tier_and_never_delays_the_review(
    seed: int, maker: AssessmentMaker, decide: Decide, core: PreparedEdition
) -> None:
    full = maker.make(seed)
    before = decide(full)
    person, limb = answers_given(full.person), answers_given(full.limbs["left"])
    for entry in core.edition.vocabulary.inputs.values():
        answers = person if entry.scope == "person" else limb
        if entry.danger_sign and entry.kind == "flag" and answers.get(entry.name) == "no":
            answers[entry.name] = "yes"
            after = decide(assessment(core, person, limb))
            answers[entry.name] = "no"
            assert core.edition.rank(after.tier) <= core.edition.rank(before.tier), entry.name
            assert after.review.due_on <= before.review.due_on, entry.name


@settings(max_examples=200)
@given(seed=seeds)
def test_the_order_of_the_rules_never_matters(
    seed: int, maker: AssessmentMaker, core: PreparedEdition
) -> None:
    facts = facts_of_limb(core, maker.make(seed), "left")
    states = core.rules.read(facts)[0]
    order = list(range(len(states)))
    random.Random(seed).shuffle(order)
    order.sort(key=lambda place: core.edition.strata[place])
    shuffled = compile_rules(
        [core.edition.rules[place] for place in order], [core.edition.strata[place] for place in order]
    ).read(facts)[0]
    assert [shuffled[order.index(place)] for place in range(len(states))] == list(states)


@settings(max_examples=300)
@given(seed=seeds)
def test_the_step_up_plan_rises_from_the_tier_to_the_target_and_is_empty_only_there(
    seed: int, maker: AssessmentMaker, decide: Decide, core: PreparedEdition
) -> None:
    decision = decide(maker.make(seed))
    rank = core.edition.rank
    level = decision.tier
    for step in decision.plan:
        assert step.from_tier == level
        assert rank(step.to_tier) > rank(level)
        assert step.liftings
        level = step.to_tier
    assert level == decision.target_tier


@settings(max_examples=300)
@given(seed=seeds)
def test_answering_everything_that_is_asked_decides_the_tier(
    seed: int, maker: AssessmentMaker, decide: Decide, core: PreparedEdition
) -> None:
    decision = decide(maker.make(seed))
    if not decision.questions:
        assert decision.determined
        assert decision.disposition != "cannot_decide_yet"
    asked = {question.input for question in decision.questions}
    assert not asked & set(decision.trace.facts)


@settings(max_examples=150)
@given(seed=seeds)
def test_an_input_that_is_not_listed_as_a_question_moves_nothing_when_it_is_answered(
    seed: int, maker: AssessmentMaker, decide: Decide, core: PreparedEdition
) -> None:
    partial = maker.make(seed)
    before = decide(partial)
    asked = {question.input for question in before.questions}
    fuller = maker.make(seed + 1)
    person, limb = answers_given(partial.person), answers_given(partial.limbs["left"])
    for scope, answers, more in (("person", person, fuller.person), ("limb", limb, fuller.limbs["left"])):
        for entry in core.edition.vocabulary.of_scope(scope):  # type: ignore[arg-type]
            name = entry.name
            if name in partial.person or name in partial.limbs["left"] or name in asked:
                continue
            if more.get(name, "not_asked") == "not_asked":
                continue
            answers[name] = more[name]
            try:
                after = decide(assessment(core, person, limb))
            except ValueError:
                continue  # the new answer contradicts one given, so nobody can send it
            finally:
                del answers[name]
            assert (after.tier, after.target_tier, after.disposition, after.review.due_on) == (
                before.tier,
                before.target_tier,
                before.disposition,
                before.review.due_on,
            ), name


@settings(max_examples=200)
@given(seed=seeds)
def test_no_material_that_is_avoided_is_chosen_and_none_is_chosen_when_compression_is_withheld(
    seed: int, maker: AssessmentMaker, decide: Decide
) -> None:
    decision = decide(maker.make(seed))
    assert not {one.name for one in decision.chosen} & {one.name for one in decision.avoided}
    if decision.tier == "withhold":
        assert not decision.chosen


def test_the_range_is_never_empty(core: PreparedEdition, maker: AssessmentMaker) -> None:
    for seed in range(300):
        facts = facts_of_limb(core, maker.make(seed), "left")
        states = core.rules.read(facts)[0]
        tiers = tier_range(core, {place: state for place, state in enumerate(states) if state})
        assert tiers.given <= tiers.highest <= tiers.target
