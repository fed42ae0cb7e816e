"""Sentences that hold for every measure and every set of answers that do not contradict one another.

Not recorded is unknown, in the sense of Kleene's strong three-valued logic (Kleene, Introduction to
Metamathematics, 1952, section 64): what is determined with answers missing stays so however they turn out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.foundation.answer_states import NOT_ASKED, NOT_DONE
from limbtier.measures.registry import MEASURES, compute_measures
from limbtier.measures.states import Answer

TODAY = date(2026, 3, 2)
SETTINGS = {"girth_interval_cm": Fraction(4)}
Asked = Callable[[Mapping[str, Answer]], bool | None]
Answers = dict[str, Answer]


def one_of(name: str, *choices: str) -> Asked:
    """Whether the answer is among the choices; None while it is not recorded."""

    def asked(answers: Mapping[str, Answer]) -> bool | None:
        return answers[name] in choices if name in answers else None

    return asked


def both(first: Asked, second: Asked) -> Asked:
    """And, with None for unknown."""

    def asked(answers: Mapping[str, Answer]) -> bool | None:
        found = (first(answers), second(answers))
        if False in found:
            return False
        return None if None in found else True

    return asked


def always(_answers: Mapping[str, Answer]) -> bool | None:
    return True


def numbers(*texts: str) -> tuple[Answer, ...]:
    return tuple(Fraction(text) for text in texts)


@dataclass(frozen=True)
class Question:
    """An input, when it is asked, and answers that lie below, at and above one another."""

    asked: Asked
    answers: tuple[Answer, ...]


PRESSURES = (*numbers("60", "100", "141.5"), NOT_DONE)
LENGTHS = (*numbers("1.5", "2", "3"), NOT_DONE)
DAYS: tuple[Answer, ...] = tuple(TODAY - timedelta(days=days) for days in (0, 20, 100))
SERIES: tuple[Answer, ...] = (
    (Fraction(22), Fraction("23.5")),
    (Fraction(26), Fraction(28)),
    (Fraction(26), Fraction(28), Fraction(31)),
    NOT_DONE,
)
measured = one_of("abpi_availability", "measured")
a_wound = one_of("wound", "erosions", "leg_ulcer")
compressed = one_of("current_tier", "support", "mild", "moderate", "strong")
AVAILABILITY: tuple[Answer, ...] = ("measured", "reported", "not_yet_done", "not_possible", "declined")

QUESTIONS: dict[str, Question] = {
    "arm_pressure_left_mmhg": Question(always, PRESSURES),
    "arm_pressure_right_mmhg": Question(always, PRESSURES),
    "abpi_availability": Question(always, AVAILABILITY),
    "dorsalis_pedis_mmhg": Question(measured, PRESSURES),
    "posterior_tibial_mmhg": Question(measured, PRESSURES),
    "ankle_not_compressible": Question(measured, ("yes", "no")),
    "reported_abpi": Question(one_of("abpi_availability", "reported"), numbers("0.8", "1", "1.3")),
    "arterial_test_on": Question(one_of("abpi_availability", "measured", "reported"), (*DAYS, NOT_DONE)),
    "toe_pressure_mmhg": Question(always, PRESSURES),
    "wound": Question(always, ("none", "erosions", "leg_ulcer")),
    "current_tier": Question(always, ("none", "withhold", "support", "mild", "strong")),
    "wound_length_cm": Question(a_wound, LENGTHS),
    "wound_width_cm": Question(a_wound, LENGTHS),
    "start_wound_area_cm2": Question(both(a_wound, compressed), (*numbers("0", "4", "12.5"), NOT_DONE)),
    "girth_series_cm": Question(always, SERIES),
    "start_girth_series_cm": Question(always, SERIES),
    "first_contact_on": Question(always, DAYS),
    "current_tier_since": Question(compressed, DAYS),
    "compression_started_on": Question(compressed, DAYS),
}


def filled_in(recorded: Answers) -> Answers:
    """The answers with every question that is known not to be asked marked so, as the engine gets them."""
    return {
        **{name: NOT_ASKED for name, question in QUESTIONS.items() if question.asked(recorded) is False},
        **recorded,
    }


def computed(recorded: Answers) -> dict[str, Answer]:
    return compute_measures(filled_in(recorded), TODAY, SETTINGS)


@st.composite
def complete_answers(draw: st.DrawFn) -> Answers:
    """An answer to every question that is asked."""
    recorded: Answers = {}
    for name, question in QUESTIONS.items():
        if question.asked(recorded):
            recorded[name] = draw(st.sampled_from(question.answers))
    return recorded


def without(answers: Answers, withdrawn: frozenset[str]) -> Answers:
    return {name: value for name, value in answers.items() if name not in withdrawn}


names = st.frozensets(st.sampled_from(sorted(QUESTIONS)))


@given(complete_answers(), names, names)
def test_withdrawing_answers_leaves_a_measure_as_it_was_or_undetermined(
    answers: Answers, first: frozenset[str], second: frozenset[str]
) -> None:
    everything, some = computed(answers), computed(without(answers, first))
    fewer = computed(without(answers, first | second))
    assert some.items() <= everything.items()
    assert fewer.items() <= some.items()


@given(complete_answers())
def test_every_measure_is_determined_when_every_question_is_answered(answers: Answers) -> None:
    assert set(computed(answers)) == {measure.name for measure in MEASURES}


@given(complete_answers(), names)
def test_a_measure_is_a_number_a_choice_or_a_state(answers: Answers, withdrawn: frozenset[str]) -> None:
    found = computed(without(answers, withdrawn))
    for measure in MEASURES:
        value = found.get(measure.name, NOT_DONE)
        allowed = value in (NOT_DONE, NOT_ASKED) or (
            value in measure.choices if measure.kind == "choice" else isinstance(value, Fraction)
        )
        assert allowed, (measure.name, value)


class Watched(dict[str, Answer]):
    """Answers that remember what was read."""

    def __init__(self, answers: Answers) -> None:
        super().__init__(answers)
        self.read: set[str] = set()

    def get(self, key: str, default: Answer | None = None) -> Answer | None:  # type: ignore[override]
        self.read.add(key)
        return super().get(key, default)

    def __getitem__(self, key: str) -> Answer:
        self.read.add(key)
        return super().__getitem__(key)

    def __contains__(self, key: object) -> bool:
        self.read.add(str(key))
        return super().__contains__(key)


@given(complete_answers(), names)
def test_a_measure_reads_its_ingredients_and_nothing_else(
    answers: Answers, withdrawn: frozenset[str]
) -> None:
    kept = filled_in(without(answers, withdrawn))
    watched = Watched({**kept, **computed(without(answers, withdrawn))})
    for measure in MEASURES:
        watched.read.clear()
        measure.compute(watched, TODAY, SETTINGS)
        assert watched.read <= set(measure.ingredients), measure.name


@given(complete_answers(), names)
def test_measures_alone_and_together_agree(answers: Answers, withdrawn: frozenset[str]) -> None:
    together = computed(without(answers, withdrawn))
    known = {**filled_in(without(answers, withdrawn)), **together}
    for measure in MEASURES:
        assert measure.compute(known, TODAY, SETTINGS) == together.get(measure.name), measure.name


# Every small case: a measure is undetermined only while a missing answer could still change it.

ARTERIAL: dict[str, tuple[Answer, ...]] = {
    "arm_pressure_left_mmhg": (*numbers("100"), NOT_DONE),
    "arm_pressure_right_mmhg": (*numbers("100"), NOT_DONE),
    "abpi_availability": ("measured", "reported", "declined"),
    "dorsalis_pedis_mmhg": (*numbers("100"), NOT_DONE),
    "posterior_tibial_mmhg": (*numbers("100"), NOT_DONE),
    "ankle_not_compressible": ("yes", "no"),
    "reported_abpi": numbers("1"),
}
ASKED_BY_AVAILABILITY = {
    "dorsalis_pedis_mmhg",
    "posterior_tibial_mmhg",
    "ankle_not_compressible",
    "reported_abpi",
}
TOE: dict[str, tuple[Answer, ...]] = {
    "arm_pressure_left_mmhg": (*numbers("100"), NOT_DONE),
    "arm_pressure_right_mmhg": (*numbers("100"), NOT_DONE),
    "toe_pressure_mmhg": (*numbers("100"), NOT_DONE),
}
WOUND: dict[str, tuple[Answer, ...]] = {
    "wound": ("none", "leg_ulcer"),
    "current_tier": ("none", "mild"),
    "wound_length_cm": (*numbers("2"), NOT_DONE),
    "wound_width_cm": (*numbers("2"), NOT_DONE),
    "start_wound_area_cm2": (*numbers("0", "4"), NOT_DONE),
}
GIRTHS: dict[str, tuple[Answer, ...]] = {"girth_series_cm": SERIES, "start_girth_series_cm": SERIES}


def partial_sets(tried: Mapping[str, tuple[Answer, ...]]) -> Iterator[Answers]:
    """Every choice of missing and given answers, none of them contradicted by one before it."""
    found: list[Answers] = [{}]
    for name, values in tried.items():
        asked = QUESTIONS[name].asked
        found = [
            {**answers, **given_too}
            for answers in found
            for given_too in ({}, *({name: value} for value in values if asked(answers) is not False))
        ]
    yield from found


def complete_sets(tried: Mapping[str, tuple[Answer, ...]]) -> list[Answers]:
    """Every way to answer all the questions that are asked."""
    found: list[Answers] = [{}]
    for name in tried:
        question = QUESTIONS[name]
        found = [
            extended
            for answers in found
            for extended in (
                [{**answers, name: value} for value in question.answers]
                if question.asked(answers)
                else [answers]
            )
        ]
    return found


def waits_on_principle(name: str, recorded: Answers, found: Mapping[str, Answer]) -> bool:
    """Whether a measure stays open though only one outcome is left.

    An answer that only one availability would have asked for does not stand in for that question; and there
    is no result `ratio` before the ratio itself is there, even when no missing pressure could prevent one.
    """
    if "abpi_availability" not in recorded:
        return bool(recorded.keys() & ASKED_BY_AVAILABILITY)
    return name == "arterial_result" and "abpi" not in found


@pytest.mark.parametrize(
    ("tried", "wanted"),
    [
        (
            ARTERIAL,
            ("ankle_pressure", "arm_pressure", "arm_difference_mmhg", "abpi", "arterial_result"),
        ),
        (TOE, ("toe_brachial_index",)),
        (WOUND, ("wound_area_cm2", "area_reduction_percent")),
        (GIRTHS, ("limb_volume_ml", "start_limb_volume_ml", "limb_volume_change_percent")),
    ],
    ids=["arterial", "toe", "wound", "girths"],
)
def test_a_measure_is_determined_exactly_when_no_missing_answer_could_change_it(
    tried: dict[str, tuple[Answer, ...]], wanted: tuple[str, ...]
) -> None:
    outcomes = [(answers.items(), computed(answers)) for answers in complete_sets(tried)]
    seen = 0
    for recorded in partial_sets(tried):
        found = computed(recorded)
        possible = [outcome for answers, outcome in outcomes if recorded.items() <= answers]
        if not possible:
            continue  # a contradiction, such as an ankle pressure beside a reported ratio
        for name in wanted:
            values = {outcome.get(name) for outcome in possible}
            if name in found:
                assert values == {found[name]}, (name, recorded)
            elif not waits_on_principle(name, recorded, found):
                assert len(values) > 1, (name, recorded, values)
        seen += 1
    assert seen >= 25
