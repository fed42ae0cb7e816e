"""The questionnaire of an edition is right by FHIR, complete, and asks what the engine asks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.domain.assessment import Answer
from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.edition import Edition
from limbtier.domain.vocabulary import Choice, Input, Range, Vocabulary
from limbtier.engine.interpreter import APPLIES, truth
from limbtier.engine.prepared import PreparedEdition
from limbtier.interop.fhir.form import EnableWhen, Form, Item, form_of
from limbtier.interop.fhir.questionnaire import UNITS, canonical, questionnaire, superseded_on
from tests.support.assessments import AssessmentMaker
from tests.support.fhir_requests import NAMES
from tests.support.fhir_validators import faults

CALENDARS = ("england", "scotland")


def written(edition: Edition) -> dict[str, Any]:
    return questionnaire(edition, form_of(edition.vocabulary), CALENDARS, NAMES)


def items(parent: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for item in parent.get("item", []):
        yield item
        yield from items(item)


def by_link_id(edition: Edition) -> dict[str, dict[str, Any]]:
    return {item["linkId"]: item for item in items(written(edition))}


def test_every_edition_gives_a_questionnaire_without_a_fault(
    editions: Mapping[str, Edition], shared_data: Path
) -> None:
    for edition in editions.values():
        assert faults(written(edition), shared_data) == []


def test_its_canonical_names_the_version_of_the_edition(edition: Edition) -> None:
    found = written(edition)
    assert found["version"] == edition.version
    assert canonical(edition, NAMES) == f"{found['url']}|{edition.version}"
    assert found["status"] == "active"


def test_a_questionnaire_says_until_when_its_edition_is_in_force(edition: Edition) -> None:
    start = edition.effective_from
    next_year = replace(edition, version="2031.1.0", effective_from=start + timedelta(days=300))
    same_day = replace(edition, version="2032.1.0")
    draft = replace(edition, version="2033.1.0", status="draft")
    of_others = replace(edition, name="other", version="2034.1.0")
    assert superseded_on(edition, [edition, draft, of_others]) is None
    assert superseded_on(edition, [edition, next_year, draft]) == next_year.effective_from
    assert superseded_on(edition, [edition, next_year, same_day]) == start
    form = form_of(edition.vocabulary)
    period = questionnaire(edition, form, CALENDARS, NAMES, next_year.effective_from)["effectivePeriod"]
    assert period == {"start": start.isoformat(), "end": (start + timedelta(days=299)).isoformat()}
    never = questionnaire(edition, form, CALENDARS, NAMES, start)
    assert (never["status"], never["effectivePeriod"]) == ("retired", {"start": start.isoformat()})


def test_every_input_is_asked_of_the_person_once_or_of_each_leg(edition: Edition) -> None:
    found = by_link_id(edition)
    for entry in edition.vocabulary.inputs.values():
        places = ["person"] if entry.scope == "person" else ["left", "right"]
        for place in places:
            item = found[f"{place}.{entry.name}"]
            assert item["text"] == entry.question
            assert (f"{place}.{entry.name}.help" in found) == bool(entry.help)
            may_be_not_done = f"{place}.{entry.name}.not_done" in found
            if entry.kind == "choice":
                codes = [one["valueCoding"]["code"] for one in item["answerOption"]]
                assert codes == list(entry.values())
            else:
                assert may_be_not_done == entry.may_be_not_done


def test_ranges_decimals_and_units_are_those_of_the_vocabulary(edition: Edition) -> None:
    found = by_link_id(edition)
    extensions = {
        one["url"].rpartition("/")[2]: next(value for name, value in one.items() if name != "url")
        for one in found["left.reported_abpi"]["extension"]
    }
    assert extensions == {"minValue": 0, "maxValue": 3, "maxDecimalPlaces": 2}
    pressure = {one["url"].rpartition("/")[2]: one for one in found["left.dorsalis_pedis_mmhg"]["extension"]}
    assert pressure["questionnaire-unit"]["valueCoding"]["code"] == "mm[Hg]"
    assert found["left.dorsalis_pedis_mmhg"]["type"] == "integer"
    series = found["left.girth_series_cm"]
    assert series["repeats"] is True


def test_every_unit_of_the_editions_is_known_to_ucum(editions: Mapping[str, Edition]) -> None:
    units = {
        entry.unit for one in editions.values() for entry in one.vocabulary.inputs.values() if entry.unit
    }
    assert units <= set(UNITS)


@pytest.mark.parametrize(
    ("ours", "name"),
    [
        ("mm[Hg]", "mmHg"),
        ("cm", "centimetre"),
        ("mm", "millimetre"),
        ("cm2", "centimetre ** 2"),
        ("kg", "kilogram"),
        ("mL", "millilitre"),
        ("a", "year"),
        ("mo", "month"),
        ("wk", "week"),
        ("d", "day"),
    ],
)
def test_units_are_meant_as_pint_means_them(ours: str, name: str) -> None:
    """The library pint (BSD) as the reference for what each name is. UCUM's own symbols are from memory, but
    for mm[Hg], kg and [in_i], which official FHIR examples have."""
    registry: pint.UnitRegistry[Any] = pint.UnitRegistry()
    assert ours in UNITS.values()
    of_vocabulary = next(unit for unit, code in UNITS.items() if code == ours)
    spelt = {"cm2": "cm**2", "ml": "mL"}.get(of_vocabulary, of_vocabulary)
    assert registry(name).to_base_units().units == registry(spelt).to_base_units().units
    assert registry(name).to_base_units().magnitude == pytest.approx(
        registry(spelt).to_base_units().magnitude
    )


# When a question is asked.


def answer_to(test: EnableWhen, answers: Mapping[str, Answer]) -> Answer | None:
    target = test.item.target
    assert target is not None
    return answers.get(target.entry.name)


def meets(test: EnableWhen, answers: Mapping[str, Answer]) -> bool:
    """One `enableWhen` by the definitions of FHIR R4 (questionnaire-enable-operator): `=` is true when an
    answer equals it, `!=` when none does, and the others compare an answer that is there."""
    target, answer = test.item.target, answer_to(test, answers)
    assert target is not None
    if target.not_done:
        answer = None if answer is None else ("yes" if answer == "not_done" else "no")
    elif answer == "not_done" and target.entry.kind != "choice":
        answer = None  # the item itself has no answer then
    wanted = {True: "yes", False: "no"}[test.answer] if isinstance(test.answer, bool) else test.answer
    if test.operator == "=":
        return answer == wanted
    if test.operator == "!=":
        return answer != wanted
    if not isinstance(answer, Fraction) or not isinstance(wanted, Fraction):
        return False
    return {
        ">=": answer >= wanted,
        ">": answer > wanted,
        "<=": answer <= wanted,
        "<": answer < wanted,
    }[test.operator]


def enabled(item: Item, answers: Mapping[str, Answer]) -> bool:
    if not item.enable_when:
        return True
    results = [meets(test, answers) for test in item.enable_when]
    return all(results) if item.enable_all or len(results) == 1 else any(results)


def shown_inputs(groups: tuple[Item, ...], answers: Mapping[str, Answer]) -> set[str]:
    """Names of the inputs whose item is enabled, and every group around it."""
    found: set[str] = set()
    for item in groups:
        if enabled(item, answers):
            found |= shown_inputs(item.items, answers)
            if item.target is not None and not item.target.not_done:
                found.add(item.target.entry.name)
    return found


@settings(max_examples=200)
@given(seed=st.integers(0, 2**48))
def test_a_question_is_shown_exactly_when_its_condition_is_known_to_hold(
    seed: int, prepared: PreparedEdition
) -> None:
    vocabulary = prepared.edition.vocabulary
    form = form_of(vocabulary)
    assessment = AssessmentMaker(prepared).make(seed)
    answers = {**assessment.person, **assessment.limbs["left"]}
    given_answers = {name: answer for name, answer in answers.items() if answer != "not_asked"}
    person = next(group for group in form.groups if group.link_id == "person")
    left = next(group for group in form.groups if group.link_id == "left")
    shown = shown_inputs((*person.items, *left.items), given_answers)
    asked = {
        entry.name
        for entry in vocabulary.inputs.values()
        if entry.asked_when is None or truth(entry.asked_when, answers) == APPLIES
    }
    assert shown == asked


FLAG = "flag_asked"
CHOICE = "choice_asked"
NUMBER = "number_asked"


def entry(name: str, kind: Any, asked_when: Condition | None = None) -> Input:
    choices = (Choice("a", "A"), Choice("b", "B"), Choice("c", "C")) if kind == "choice" else ()
    return Input(
        name,
        "person",
        kind,
        "?",
        "",
        "Group",
        None,
        choices,
        may_be_not_done=kind == "whole_number",
        range=Range(),
        expected=Range(),
        places=0,
        asked_when=asked_when,
        danger_sign=False,
    )


CONDITIONS = [
    ValueTest(FLAG, ("yes",)),
    ValueTest(CHOICE, ("a", "b")),
    ValueTest(NUMBER, ("not_done",)),
    EdgeTest(NUMBER, at_least=Fraction(3), below=Fraction(7)),
    AllOf((ValueTest(FLAG, ("no",)), EdgeTest(NUMBER, above=Fraction(3), at_most=Fraction(7)))),
    AllOf((ValueTest(CHOICE, ("a", "b")), ValueTest(FLAG, ("yes", "no")))),
    AllOf((ValueTest(CHOICE, ("a", "c")), ValueTest(FLAG, ("yes",)), ValueTest(NUMBER, ("not_done",)))),
    AnyOf((ValueTest(CHOICE, ("a",)), ValueTest(FLAG, ("yes",)), EdgeTest(NUMBER, below=Fraction(3)))),
    NoneOf((ValueTest(CHOICE, ("a", "b")), ValueTest(FLAG, ("yes",)))),
    AllOf(
        (
            NoneOf((ValueTest(CHOICE, ("c",)),)),
            AnyOf((ValueTest(FLAG, ("yes",)), ValueTest(NUMBER, ("not_done",)))),
        )
    ),
]


@pytest.mark.parametrize("condition", CONDITIONS)
def test_any_form_of_condition_is_said_in_fhir(condition: Condition) -> None:
    inputs = [entry(FLAG, "flag"), entry(CHOICE, "choice"), entry(NUMBER, "whole_number")]
    inputs.append(entry("last", "flag", condition))
    form = form_of(Vocabulary({one.name: one for one in inputs}, {}, {}, {}))
    person = next(group for group in form.groups if group.link_id == "person")
    numbers: list[Answer] = ["not_done", Fraction(2), Fraction(3), Fraction(5), Fraction(7), Fraction(8)]
    for flag in ("yes", "no"):
        for choice in ("a", "b", "c"):
            for number in numbers:
                answers: dict[str, Answer] = {FLAG: flag, CHOICE: choice, NUMBER: number}
                shown = "last" in shown_inputs(person.items, answers)
                assert shown == (truth(condition, answers) == APPLIES), answers


def test_a_condition_that_fhir_cannot_say_shows_the_question_always() -> None:
    condition = AnyOf(
        (AllOf((ValueTest(FLAG, ("yes",)), ValueTest(CHOICE, ("a",)))), ValueTest(NUMBER, ("not_done",)))
    )
    inputs = [entry(FLAG, "flag"), entry(CHOICE, "choice"), entry(NUMBER, "whole_number")]
    inputs.append(entry("last", "flag", condition))
    form = form_of(Vocabulary({one.name: one for one in inputs}, {}, {}, {}))
    assert form.by_link_id["person.last"].enable_when == ()


def test_link_ids_are_given_once(forms: Mapping[str, Form]) -> None:
    for form in forms.values():
        seen: list[str] = []

        def collect(items: tuple[Item, ...], into: list[str]) -> None:
            for item in items:
                into.append(item.link_id)
                collect(item.items, into)

        collect(form.groups, seen)
        assert len(seen) == len(set(seen))
