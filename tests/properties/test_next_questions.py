"""What a form need not ask changes nothing, whatever else is answered."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from typing import Any

import orjson
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.domain.assessment import Answer, Assessment
from limbtier.domain.decision import Decision
from limbtier.engine.decide import decide
from limbtier.engine.form import Form, FormReader
from limbtier.engine.prepared import PreparedEdition
from limbtier.engine.question_order import open_keys, ordered
from limbtier.measures.working_days import WorkingCalendar
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.next_questions import form_of, next_questions
from tests.support.assessments import MOMENT, AssessmentMaker, assessment
from tests.support.assessments import given as answers_given

seeds = st.integers(0, 2**48)
Decide = Callable[[Assessment], Decision]
Both = tuple[dict[str, Answer], dict[str, Answer]]
"""Answers of the person and of the leg."""
OUTCOME = ("tier", "range", "target_tier", "disposition", "determined")
WHOLE = (*OUTCOME, "arrangements", "cautions", "provisional", "safety_net", "step_up_plan")


@pytest.fixture(scope="module")
def maker(core: PreparedEdition) -> AssessmentMaker:
    return AssessmentMaker(core)


@pytest.fixture(scope="module")
def reader(core: PreparedEdition) -> FormReader:
    return FormReader(core)


@pytest.fixture(scope="module")
def decided(core: PreparedEdition, england: WorkingCalendar) -> Decide:
    return lambda one: decide(core, one, england, MOMENT)


def thinned(chance: random.Random, answers: Mapping[str, Answer]) -> dict[str, Answer]:
    """Some of the answers, in their order."""
    share = chance.choice((0.0, 0.2, 0.5, 0.8, 0.95))
    return {name: answer for name, answer in answers.items() if chance.random() < share}


def parts(seed: int, maker: AssessmentMaker) -> tuple[Both, Both]:
    """All answers of an assessment, and some of them."""
    full = maker.make(seed)
    person, limb = answers_given(full.person), answers_given(full.limbs["left"])
    chance = random.Random(seed)
    return (person, limb), (thinned(chance, person), thinned(chance, limb))


def completed(some: Both, every: Both, names: set[str]) -> Both:
    """Some answers, and those of `every` to the questions named."""
    person, limb = (
        {**few, **{name: answer for name, answer in all_.items() if name in names}}
        for few, all_ in zip(some, every, strict=True)
    )
    return person, limb


def written(rules: ReadyRules, core: PreparedEdition, decision: Decision) -> dict[str, Any]:
    """The record of the leg."""
    record: dict[str, Any] = orjson.loads(rules.writers[core.edition.id].write(decision, None, b"{}"))
    leg: dict[str, Any] = record["limbs"]["left"]
    return leg


def told(leg: Mapping[str, Any], members: tuple[str, ...]) -> dict[str, Any]:
    """What is compared: some members, and the day of the review."""
    found = {name: leg[name] for name in members}
    return {**found, "review": (leg["review"]["due_on"], leg["review"]["within_hours"])}


@settings(max_examples=200)
@given(seed=seeds, chosen=st.randoms(use_true_random=False))
def test_questions_that_are_not_open_move_no_outcome_whatever_the_others_are(
    seed: int,
    chosen: random.Random,
    maker: AssessmentMaker,
    reader: FormReader,
    core: PreparedEdition,
    decided: Decide,
    rules: ReadyRules,
) -> None:
    every, some = parts(seed, maker)
    start = decided(assessment(core, *some))
    open_now = {name for name, _ in open_keys(form_of(reader, start.assessment))}
    others = {name for name in (*every[0], *every[1]) if name not in open_now}
    answered = {name for name in open_now if chosen.random() < 0.7}
    without = decided(assessment(core, *completed(some, every, answered)))
    more = answered | {name for name in others if chosen.random() < 0.7}
    with_them = decided(assessment(core, *completed(some, every, more)))
    one, other = (written(rules, core, decision) for decision in (without, with_them))
    assert told(one, OUTCOME) == told(other, OUTCOME)
    # What is open only ever shrinks.
    assert {name for name, _ in open_keys(form_of(reader, with_them.assessment))} <= open_now


@settings(max_examples=200)
@given(seed=seeds, chosen=st.randoms(use_true_random=False))
def test_what_no_longer_matters_changes_nothing_that_is_done_or_told(
    seed: int,
    chosen: random.Random,
    maker: AssessmentMaker,
    reader: FormReader,
    core: PreparedEdition,
    decided: Decide,
    rules: ReadyRules,
) -> None:
    every, some = parts(seed, maker)
    found = next_questions(reader, decided(assessment(core, *some)))
    dropped = {entry["input"] for entry in found["no_longer_matter"]}
    others = {name for name in (*every[0], *every[1]) if name not in dropped}
    answered = {name for name in others if chosen.random() < 0.7}
    more = answered | {name for name in dropped if chosen.random() < 0.8}
    without, with_them = (
        written(rules, core, decided(assessment(core, *completed(some, every, names))))
        for names in (answered, more)
    )
    assert told(without, WHOLE) == told(with_them, WHOLE)
    if without["range"]["highest"] != core.tier_names[0]:
        assert without["materials"] == with_them["materials"]


@settings(max_examples=100)
@given(seed=seeds)
def test_every_question_without_an_answer_is_in_one_list_and_danger_signs_come_first(
    seed: int, maker: AssessmentMaker, reader: FormReader, core: PreparedEdition, decided: Decide
) -> None:
    _, some = parts(seed, maker)
    decision = decided(assessment(core, *some))
    found = next_questions(reader, decision)
    lists = [found["questions"], found["further_questions"], found["no_longer_matter"]]
    listed = [entry["input"] for entries in lists for entry in entries]
    inputs = core.edition.vocabulary.inputs
    answered = {**decision.assessment.person, **decision.assessment.limbs["left"]}
    assert sorted(listed) == sorted(name for name in inputs if name not in answered)
    askable = [entry for entry in found["questions"] if not entry["after"]]
    assert found["questions"][: len(askable)] == askable
    signs = [entry["danger_sign"] for entry in askable]
    assert signs == sorted(signs, reverse=True)
    assert all(1 <= entry["settles"]["at_least"] <= entry["settles"]["at_most"] for entry in askable)
    asked = {question.input for question in decision.limbs["left"].questions}
    assert {entry["input"] for entry in found["questions"]} <= asked | core_danger_inputs(core)


def core_danger_inputs(core: PreparedEdition) -> set[str]:
    """The inputs behind what makes a danger sign."""
    return {
        name
        for rule, inputs in zip(core.edition.rules, core.inputs_of_rule, strict=True)
        if "danger_sign" in rule.then.classify
        for name in inputs
    }


@settings(max_examples=20)
@given(seed=seeds)
def test_a_form_that_asks_in_this_order_decides_as_the_whole_assessment(
    seed: int, maker: AssessmentMaker, reader: FormReader, core: PreparedEdition, decided: Decide
) -> None:
    (person, limb), _ = parts(seed, maker)
    form = Form(reader, {}, {"left": {}}, MOMENT.date())
    passed: set[str] = set()
    while asked := [
        one.key for one in ordered(form) if set(one.after) <= passed and one.key[0] not in passed
    ]:
        name, side = asked[0]
        answer = (person if side is None else limb).get(name)
        if answer is None:
            passed.add(name)
        else:
            form = form.with_answer(asked[0], answer)
    whole = decided(assessment(core, person, limb)).limbs["left"]
    short = decided(assessment(core, form.person, form.limbs["left"])).limbs["left"]
    assert (short.tier, short.target_tier, short.disposition) == (
        whole.tier,
        whole.target_tier,
        whole.disposition,
    )
    assert short.review.due_on == whole.review.due_on
