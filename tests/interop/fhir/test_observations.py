"""Observations answer inputs by the code map, in units that convert exactly, or are refused."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pint
import pytest

from limbtier.domain.code_map import CodedInput, CodeMap, Coding
from limbtier.domain.edition import Edition
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidAssessment
from limbtier.foundation.strict_json import read_json
from limbtier.interop.fhir.form import Form
from limbtier.interop.fhir.outcome import fhir_path_of
from limbtier.interop.fhir.submission import Mapped, map_submission, written
from limbtier.interop.fhir.units import EXACT
from tests.support.fhir_requests import (
    OBSERVATIONS,
    UCUM,
    collection,
    observation,
    response_of,
    subject,
)

DAY = "2026-03-02"
LOINC = "http://loinc.org"
SNOMED_CT = "http://snomed.info/sct"
Send = Callable[..., Mapped]


@pytest.fixture
def send(
    contact: dict[str, Any],
    edition: Edition,
    editions: Mapping[str, Edition],
    forms: Mapping[str, Form],
    code_map: CodeMap,
) -> Send:
    """Sends observations with the first contact, without the answers that `without` names."""

    def send_them(
        *resources: dict[str, Any], without: tuple[str, ...] = (), codes: CodeMap | None = None
    ) -> Mapped:
        for name in without:
            for answers in (contact["limbs"]["left"], contact["person"]):
                answers.pop(name, None)
        body = collection(response_of(contact, edition), *resources)
        return map_submission(read_json(written(body)), editions, forms, codes or code_map, kept=True)

    return send_them


def left(mapped: Mapped) -> dict[str, Any]:
    found: dict[str, Any] = read_json(mapped.assessment)["limbs"]["left"]
    return found


def refusals(send: Send, *resources: dict[str, Any], **more: Any) -> list[tuple[str, str]]:
    with pytest.raises(InvalidAssessment) as caught:
        send(*resources, **more)
    return [
        (one.code, fhir_path_of("Bundle", (one.pointer or "").split("/")[1:]))
        for one in caught.value.diagnostics
    ]


def calf(value: Any = 41, unit: str = "cm", **elements: Any) -> dict[str, Any]:
    return {**observation("calf_girth", value, unit, DAY, "left_leg"), **elements}


GIVEN = "Bundle.entry[1].resource"


# Values.


def test_an_observation_answers_the_input_of_the_leg_that_its_body_site_says(send: Send) -> None:
    assert left(send(calf(Decimal("40.5")), without=("calf_girth_cm",)))["calf_girth_cm"] == Decimal("40.5")
    right = observation("ankle_girth", 25, "cm", DAY, "right_leg")
    found = read_json(send(right).assessment)["limbs"]["right"]
    assert found == {"ankle_girth_cm": 25}


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (410, "mm", "41"),
        (Decimal("0.41"), "m", "41.00"),
        (15, "[in_i]", "38.1"),
        (Decimal("41.0"), "cm", "41.0"),
    ],
)
def test_a_unit_is_converted_where_the_factor_is_exact_and_that_is_told(
    send: Send, value: Any, unit: str, expected: str
) -> None:
    mapped = send(calf(value, unit), without=("calf_girth_cm",))
    assert left(mapped)["calf_girth_cm"] == Decimal(expected)
    told = [text for text, _ in mapped.notes]
    if unit == "[in_i]":
        assert told == ["`calf_girth_cm`: 15 [in_i] was read as 38.1 cm; one [in_i] is exactly 2.54 cm."]
    else:
        assert len(told) == (unit != "cm")


def test_the_factors_are_those_of_a_library_of_units() -> None:
    """The library pint (BSD) as the reference; UCUM's [in_i] is the international inch."""
    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(non_int_type=Fraction)
    for (given, wanted), factor in EXACT.items():
        quantity = registry.Quantity(Fraction(1), given.replace("[in_i]", "inch"))
        assert Fraction(quantity.to(wanted).magnitude) == factor


@pytest.mark.parametrize("unit", ["kPa", "Pa", "cm[H2O]"])
def test_a_pressure_in_another_unit_is_refused_and_never_rounded(send: Send, unit: str) -> None:
    """One mm[Hg] is 133.322 Pa in UCUM and 133.322387415 Pa elsewhere: no exact factor."""
    toe = observation("toe_pressure", 8, unit, DAY, "left_leg")
    assert refusals(send, toe, without=("toe_pressure_mmhg",)) == [("unit-not-taken", f"{GIVEN}.value.code")]


@pytest.mark.parametrize(
    ("quantity", "expected"),
    [
        ({"value": 41, "system": UCUM, "code": "kg"}, ("unit-not-taken", f"{GIVEN}.value.code")),
        ({"value": 41, "unit": "cm"}, ("unit-not-taken", f"{GIVEN}.value")),
        ({"value": 41, "system": LOINC, "code": "cm"}, ("unit-not-taken", f"{GIVEN}.value")),
        ({"value": 41, "system": UCUM, "code": "CM"}, ("unit-not-taken", f"{GIVEN}.value.code")),
        ({"value": "41", "system": UCUM, "code": "cm"}, ("wrong-type", f"{GIVEN}.value.value")),
        ({"value": True, "system": UCUM, "code": "cm"}, ("wrong-type", f"{GIVEN}.value.value")),
        ({"system": UCUM, "code": "cm"}, ("wrong-type", f"{GIVEN}.value.value")),
        (
            {"value": 41, "comparator": ">", "system": UCUM, "code": "cm"},
            ("value-not-exact", f"{GIVEN}.value.comparator"),
        ),
        (
            {"value": Decimal("1E+400"), "system": UCUM, "code": "mm"},
            ("out-of-range", f"{GIVEN}.value.value"),
        ),
        (
            {"value": Decimal("10.3"), "system": UCUM, "code": "[in_i]"},
            ("too-many-decimals", f"{GIVEN}.value.value"),
        ),
        ("41 cm", ("wrong-type", f"{GIVEN}.value")),
    ],
)
def test_a_quantity_that_is_not_certain_is_refused(
    send: Send, quantity: Any, expected: tuple[str, str]
) -> None:
    given = calf(valueQuantity=quantity)
    assert refusals(send, given, without=("calf_girth_cm",)) == [expected]


def test_a_measurement_that_was_not_performed_is_an_answer(send: Send) -> None:
    absent = {
        "coding": [
            {"system": "http://terminology.hl7.org/CodeSystem/data-absent-reason", "code": "not-performed"}
        ]
    }
    given = calf(dataAbsentReason=absent)
    assert refusals(send, given, without=("calf_girth_cm",)) == [("conflicting-answers", GIVEN)]
    del given["valueQuantity"]
    assert left(send(given))["calf_girth_cm"] == "not_done"
    absent["coding"][0]["code"] = "unknown"
    assert refusals(send, given) == [("value-absent", f"{GIVEN}.dataAbsentReason")]


@pytest.mark.parametrize("value", [{"valueString": "41"}, {"valueInteger": 41}, {}])
def test_a_measurement_is_a_quantity(send: Send, value: dict[str, Any]) -> None:
    given = calf()
    del given["valueQuantity"]
    found = refusals(send, {**given, **value}, without=("calf_girth_cm",))
    assert ("wrong-value-type", GIVEN) in found


# Codes.


def test_an_everyday_blood_pressure_does_not_count_as_an_arm_pressure(send: Send) -> None:
    """LOINC 8480-6 and SNOMED CT 368209003 as in the example blood-pressure of HL7 FHIR R4 4.0.1."""
    pressure = {
        "resourceType": "Observation",
        "status": "final",
        "code": {"coding": [{"system": LOINC, "code": "85354-9"}]},
        "bodySite": {"coding": [{"system": SNOMED_CT, "code": "368209003"}]},
        "effectiveDateTime": DAY,
        "component": [
            {
                "code": {"coding": [{"system": LOINC, "code": "8480-6"}]},
                "valueQuantity": {"value": 107, "system": UCUM, "code": "mm[Hg]"},
            },
            {
                "code": {"coding": [{"system": LOINC, "code": "8462-4"}]},
                "valueQuantity": {"value": 60, "system": UCUM, "code": "mm[Hg]"},
            },
        ],
    }
    arm = ("arm_pressure_right_mmhg",)
    assert refusals(send, pressure, without=arm) == [("code-not-mapped", GIVEN)]
    pressure["method"] = {"coding": [{"system": OBSERVATIONS, "code": "hand_held_doppler"}]}
    mapped = send(pressure, without=arm)
    assert read_json(mapped.assessment)["person"]["arm_pressure_right_mmhg"] == 107
    assert [text for text, _ in mapped.notes] == [
        "This part of the observation is not in the code map and was not read."
    ]


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        ({"coding": [{"system": LOINC, "code": "8302-2"}]}, ("code-not-mapped", f"{GIVEN}.code")),
        ({"coding": [{"system": LOINC, "code": "calf_girth"}]}, ("code-not-mapped", f"{GIVEN}.code")),
        ({"coding": [{"code": "calf_girth"}]}, ("code-not-mapped", f"{GIVEN}.code")),
        ({"text": "calf girth"}, ("code-not-mapped", f"{GIVEN}.code")),
        ("calf_girth", ("code-not-mapped", f"{GIVEN}.code")),
    ],
)
def test_a_code_that_is_not_in_the_map_is_refused(send: Send, code: Any, expected: tuple[str, str]) -> None:
    assert refusals(send, calf(code=code)) == [expected]


@pytest.mark.parametrize(
    "site", [None, {"text": "left leg"}, {"coding": [{"system": SNOMED_CT, "code": "1"}]}]
)
def test_a_leg_that_the_body_site_does_not_name_is_refused(send: Send, site: Any) -> None:
    given = calf()
    del given["bodySite"]
    if site is not None:
        given["bodySite"] = site
    assert refusals(send, given) == [("side-not-known", f"{GIVEN}.bodySite")]


def test_body_sites_of_both_legs_name_neither(send: Send) -> None:
    both = {"coding": [{"system": OBSERVATIONS, "code": f"{side}_leg"} for side in ("left", "right")]}
    assert refusals(send, calf(bodySite=both)) == [("side-not-known", f"{GIVEN}.bodySite")]


def test_codes_of_two_inputs_are_refused(send: Send) -> None:
    codes = [{"system": OBSERVATIONS, "code": code} for code in ("calf_girth", "ankle_girth")]
    assert refusals(send, calf(code={"coding": codes})) == [("conflicting-answers", f"{GIVEN}.code")]


def test_a_site_may_map_codes_of_its_own(send: Send, code_map: CodeMap) -> None:
    own = Coding("https://records.invalid/codes", "CG1")
    wider = replace(code_map, observations=(*code_map.observations, CodedInput("calf_girth_cm", own)))
    given = calf(code={"coding": [{"system": own.system, "code": own.code}]})
    assert left(send(given, without=("calf_girth_cm",), codes=wider))["calf_girth_cm"] == 41


def test_without_a_code_map_no_observation_is_taken(send: Send) -> None:
    assert refusals(send, calf(), codes=CodeMap()) == [("code-not-mapped", f"{GIVEN}.code")]


# Agreement.


def test_an_observation_that_agrees_with_the_answers_is_no_conflict(send: Send) -> None:
    assert left(send(calf(Decimal("41.0")), calf(410, "mm")))["calf_girth_cm"] == Decimal("41.0")


def test_an_observation_that_disagrees_with_the_answers_is_refused(send: Send) -> None:
    assert refusals(send, calf(42)) == [("conflicting-answers", GIVEN)]


def test_observations_that_disagree_with_one_another_are_refused(send: Send) -> None:
    assert refusals(send, calf(41), calf(Decimal("41.1")), without=("calf_girth_cm",)) == [
        ("conflicting-answers", "Bundle.entry[2].resource")
    ]


def test_an_observation_of_somebody_else_is_refused(send: Send) -> None:
    assert left(send(calf(subject=subject("ep-heron-0001"))))["calf_girth_cm"] == 41
    assert refusals(send, calf(subject=subject("ep-heron-0002"))) == [("subjects-differ", f"{GIVEN}.subject")]
    assert refusals(send, calf(subject={"reference": "Patient/1"})) == [
        ("subject-not-pseudonymous", f"{GIVEN}.subject.reference")
    ]


@pytest.mark.parametrize(
    ("elements", "expected"),
    [
        ({"status": "preliminary"}, ("status-not-taken", f"{GIVEN}.status")),
        ({"status": "entered-in-error"}, ("status-not-taken", f"{GIVEN}.status")),
        ({"effectiveDateTime": "2026-03"}, ("missing-element", f"{GIVEN}.effective")),
        ({"effectiveDateTime": "2026-02-30"}, ("missing-element", f"{GIVEN}.effective")),
        ({"effectiveDateTime": "2026-03-02T09:30:00"}, ("missing-element", f"{GIVEN}.effective")),
        ({"effectiveInstant": "2026-03-02T09:30:00Z"}, ("missing-element", f"{GIVEN}.effective")),
        ({"effectiveDateTime": "2026-03-01"}, ("observation-of-another-day", GIVEN)),
        ({"effectiveDateTime": "2026-03-02T23:30:00-05:00"}, ("observation-of-another-day", GIVEN)),
        ({"focus": [{"reference": "Patient/2"}]}, ("unknown-element", f"{GIVEN}.focus")),
        ({"modifierExtension": [{"url": "x"}]}, ("modifier-not-known", f"{GIVEN}.modifierExtension")),
        ({"component": "x"}, ("wrong-type", f"{GIVEN}.component")),
    ],
)
def test_an_observation_that_does_not_count_today_is_refused(
    send: Send, elements: dict[str, Any], expected: tuple[str, str]
) -> None:
    assert refusals(send, calf(**elements)) == [expected]


def test_an_arterial_test_may_be_of_the_day_that_the_answers_say(send: Send, contact: dict[str, Any]) -> None:
    contact["limbs"]["left"] |= {"abpi_availability": "measured", "arterial_test_on": "2026-02-20"}
    ankle = observation("dorsalis_pedis_pressure", 110, "mm[Hg]", "2026-02-20", "left_leg")
    arm = observation("arm_pressure", 140, "mm[Hg]", "2026-02-20", "left_arm")
    mapped = send(ankle, arm, without=("arm_pressure_left_mmhg",))
    assert left(mapped)["dorsalis_pedis_mmhg"] == 110
    assert read_json(mapped.assessment)["person"]["arm_pressure_left_mmhg"] == 140
    for other_day in ("2026-02-19", DAY):
        ankle["effectiveDateTime"] = other_day
        assert refusals(send, ankle, arm) == [("observation-of-another-day", GIVEN)]
    contact["limbs"]["left"]["arterial_test_on"] = "not_done"
    arm["effectiveDateTime"] = DAY
    assert left(send(ankle, arm))["dorsalis_pedis_mmhg"] == 110


def test_a_finding_about_an_answer_is_placed_at_the_observation_it_came_from(send: Send) -> None:
    mapped = send(calf(400), without=("calf_girth_cm",))
    finding = Diagnostic("out-of-range", "x", "y", "/limbs/left/calf_girth_cm")
    assert mapped.found_at(finding).pointer == "/entry/1/resource"
    of_nothing = Diagnostic("no-limb", "x", "y", "/limbs/right")
    assert mapped.found_at(of_nothing).pointer == "/entry/0/resource"
