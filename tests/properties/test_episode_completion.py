"""Sentences that must hold for every assessment that was completed from its episode."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.domain.assessment import Answer
from limbtier.domain.episode_fold import fold
from limbtier.domain.episode_state import Contact, EpisodeState, LimbContact, stored
from limbtier.domain.pathway import Pathway
from limbtier.engine.decide import decide_limb
from limbtier.engine.episode_completion import Completion, Recorded
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.settings import CHECKOUT
from limbtier.measures.working_days import WorkingCalendar
from limbtier.rulesets.read_pathway import load_pathways
from tests.support.assessments import MOMENT, AssessmentMaker, assessment
from tests.support.assessments import given as answers_given

seeds = st.integers(0, 2**48)
BEFORE = timedelta(days=10)
Answers = dict[str, Answer]


@pytest.fixture(scope="module")
def maker(core: PreparedEdition) -> AssessmentMaker:
    return AssessmentMaker(core)


@pytest.fixture(scope="module")
def pathway(core: PreparedEdition) -> Pathway:
    return load_pathways(CHECKOUT / "rules", [core.edition])[-1]


def _state(
    maker: AssessmentMaker, core: PreparedEdition, england: WorkingCalendar, pathway: Pathway, seed: int
) -> EpisodeState:
    """An episode with one generated contact."""
    first = maker.make(seed)
    decision = decide_limb(core, "left", first, england)
    person, answers = answers_given(first.person), answers_given(first.limbs["left"])
    tier = answers.get("current_tier")
    limb = LimbContact(
        {name: stored(_before(one)) for name, one in answers.items()},
        tier if isinstance(tier, str) else None,
        decision.tier,
        decision.disposition,
        decision.review.due_on - BEFORE,
    )
    kept = {name: stored(one) for name, one in person.items()}
    at = MOMENT - BEFORE
    state = fold(None, Contact("first", at, at.date(), "england", kept, {"left": limb}), pathway.kept)
    assert state is not None
    return state


def _before(answer: Answer) -> Answer:
    """A day moves with the contact."""
    return answer - BEFORE if isinstance(answer, date) else answer


def _completed(
    maker: AssessmentMaker, core: PreparedEdition, state: EpisodeState, pathway: Pathway, seed: int
) -> tuple[Answers, Answers, Completion]:
    """The answers of a second contact that leaves out half of what is kept, completed."""
    second = maker.make(seed + 1)
    chance = random.Random(seed)
    kept = {name for group in pathway.kept for name in group.inputs}
    history = {"first_contact_on", "current_tier", "current_tier_since", "compression_started_on"}
    history |= {"start_wound_area_cm2", "start_girth_series_cm"}

    def some(answers: Mapping[str, Answer]) -> Answers:
        return {
            name: one
            for name, one in answers_given(answers).items()
            if name not in history and (name not in kept or chance.random() < 0.5)
        }

    person, limb = some(second.person), some(second.limbs["left"])
    completion = Completion(state, pathway, MOMENT.date())
    completion.person(core.answers, person)
    completion.limb(core.answers, "left", limb, person)
    asked_person, asked_limb = dict(person), dict(limb)
    refused = core.answers.complete(asked_person, "person", {}, [])
    refused += core.answers.complete(asked_limb, "limb", asked_person, [])
    for one in refused:  # what the generated second contact itself contradicts, now that more is known
        name = (one.pointer or "").rpartition("/")[2]
        person.pop(name, None)
        limb.pop(name, None)
    return person, limb, completion


@settings(max_examples=150, deadline=None)
@given(seed=seeds)
def test_withdrawing_an_answer_of_a_completed_assessment_never_raises_the_tier(
    seed: int, maker: AssessmentMaker, core: PreparedEdition, england: WorkingCalendar, pathway: Pathway
) -> None:
    state = _state(maker, core, england, pathway, seed)
    person, limb, _ = _completed(maker, core, state, pathway, seed)
    before = decide_limb(core, "left", assessment(core, person, limb), england)
    names = sorted({*person, *limb})
    for name in random.Random(seed).sample(names, min(5, len(names))):
        fewer_person = {key: value for key, value in person.items() if key != name}
        fewer_limb = {key: value for key, value in limb.items() if key != name}
        after = decide_limb(core, "left", assessment(core, fewer_person, fewer_limb), england)
        assert core.edition.rank(after.tier) <= core.edition.rank(before.tier), name
        assert after.review.due_on <= before.review.due_on, name


@settings(max_examples=150, deadline=None)
@given(seed=seeds)
def test_what_was_filled_in_gives_the_same_decision_when_it_is_filled_in_from_the_record(
    seed: int, maker: AssessmentMaker, core: PreparedEdition, england: WorkingCalendar, pathway: Pathway
) -> None:
    state = _state(maker, core, england, pathway, seed)
    person, limb, completion = _completed(maker, core, state, pathway, seed)
    filled = {(one.scope, one.input) for one in completion.filled}
    again_person = {name: one for name, one in person.items() if ("person", name) not in filled}
    again_limb = {name: one for name, one in limb.items() if ("left", name) not in filled}
    recorded = Recorded(tuple(replace(one) for one in completion.filled), ())
    recorded.person(core.answers, again_person)
    recorded.limb(core.answers, "left", again_limb, again_person)
    asked = {name for name in again_limb if name in limb} | {name for name in again_person if name in person}
    assert {**person, **limb}.keys() == asked
    assert {name: again_limb[name] for name in limb} == limb
    assert {name: again_person[name] for name in person} == person


@settings(max_examples=150, deadline=None)
@given(seed=seeds)
def test_nothing_that_was_answered_is_changed_but_by_a_measurement_that_is_kept(
    seed: int, maker: AssessmentMaker, core: PreparedEdition, england: WorkingCalendar, pathway: Pathway
) -> None:
    state = _state(maker, core, england, pathway, seed)
    _, _, completion = _completed(maker, core, state, pathway, seed)
    measured = {name for group in pathway.kept if group.measured_by for name in group.inputs}
    assert {one.input for one in completion.filled if one.instead_of is not None} <= measured
    dangers = {one.name for one in core.edition.vocabulary.inputs.values() if one.danger_sign}
    assert dangers.isdisjoint({one.input for one in completion.filled})
