"""An answered questionnaire becomes the assessment of a plain caller, or every fault of it is named."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.domain.code_map import CodeMap
from limbtier.domain.edition import Edition
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.errors import InvalidAssessment
from limbtier.foundation.strict_json import NotJson, read_json
from limbtier.interop.fhir.form import Form
from limbtier.interop.fhir.outcome import fhir_path_of
from limbtier.interop.fhir.submission import map_submission, written
from tests.api.requests_made import request_of
from tests.support.assessments import AssessmentMaker
from tests.support.fhir_requests import BASE, NAMES, collection, item_of, observation, response_of, subject

Change = Callable[[dict[str, Any]], object]
Map = Callable[..., dict[str, Any]]


@pytest.fixture(scope="session")
def mapped(editions: Mapping[str, Edition], forms: Mapping[str, Form], code_map: CodeMap) -> Map:
    """Maps a request as it would come over the wire, and returns the assessment."""

    def map_it(body: Any, *, kept: bool = True) -> dict[str, Any]:
        found = map_submission(read_json(written(body)), editions, forms, code_map, kept=kept)
        assessment: dict[str, Any] = read_json(found.assessment)
        return assessment

    return map_it


def refusals(mapped: Map, body: Any) -> list[tuple[str, str]]:
    """Code and FHIRPath of everything that is wrong with a request."""
    with pytest.raises(InvalidAssessment) as caught:
        mapped(body)
    assert all(one.message and one.help for one in caught.value.diagnostics)
    root = body["resourceType"] if isinstance(body, dict) else "Resource"
    return [
        (one.code, fhir_path_of(root, (one.pointer or "").split("/")[1:])) for one in caught.value.diagnostics
    ]


# What is right.


def test_the_first_contact_is_mapped_to_itself(
    contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    assert mapped(response_of(contact, edition)) == {**contact, "edition": edition.id}


@settings(max_examples=100)
@given(seed=st.integers(0, 2**48))
def test_any_assessment_comes_back_from_fhir_with_all_its_digits(
    seed: int, prepared: PreparedEdition, mapped: Map
) -> None:
    request = request_of(AssessmentMaker(prepared).make(seed), prepared.edition.vocabulary)
    exact = json.loads(json.dumps(request), parse_float=Decimal)
    limbs = {side: answers for side, answers in exact["limbs"].items() if answers}
    assert mapped(response_of(exact, prepared.edition)) == {
        **exact,
        "limbs": limbs,
        "edition": prepared.edition.id,
    }


def test_numbers_keep_the_digits_that_were_typed(
    contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    contact["limbs"]["left"]["ankle_girth_cm"] = Decimal("27.50")
    found = mapped(response_of(contact, edition))
    assert str(found["limbs"]["left"]["ankle_girth_cm"]) == "27.50"


def test_answers_may_come_in_a_bundle_or_as_a_parameter(
    contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    response = response_of(contact, edition)
    alone = mapped(response)
    assert mapped(collection(response)) == alone
    parameters = {"resourceType": "Parameters", "parameter": [{"name": "resource", "resource": response}]}
    assert mapped(parameters) == alone


def test_an_unfinished_response_can_be_previewed_and_not_kept(
    contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    response = {**response_of(contact, edition), "status": "in-progress"}
    assert mapped(response, kept=False)["person"]
    assert refusals(mapped, response) == [("status-not-taken", "QuestionnaireResponse.status")]


def test_what_is_of_no_consequence_is_passed_over(
    contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    response = response_of(contact, edition)
    alone = mapped(response)
    response |= {
        "id": "r1",
        "meta": {"lastUpdated": "2026-03-02T09:31:00Z"},
        "language": "en",
        "identifier": {"value": "form-7"},
        "author": {"display": "A nurse"},
        "encounter": {"reference": "https://records.invalid/Encounter/1"},
        "extension": [{"url": "https://records.invalid/x", "valueString": "y"}],
        "_language": {"id": "a"},
    }
    response["item"][0]["text"] = "The contact"
    assert mapped(response) == alone


def test_a_leg_without_answers_was_not_assessed(
    contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    response = response_of(contact, edition)
    response["item"].append({"linkId": "right", "item": [{"linkId": "right.group.1"}]})
    assert set(mapped(response)["limbs"]) == {"left"}


# What is wrong with the response.


def put(link_id: str, *answers: dict[str, Any]) -> Change:
    def change(response: dict[str, Any]) -> None:
        item_of(response, link_id)["answer"] = list(answers)

    return change


def add(link_id: str, item: dict[str, Any]) -> Change:
    def change(response: dict[str, Any]) -> None:
        item_of(response, link_id).setdefault("item", []).append(item)

    return change


def set_to(**elements: Any) -> Change:
    def change(response: dict[str, Any]) -> None:
        response.update(elements)

    return change


def without(name: str) -> Change:
    def change(response: dict[str, Any]) -> None:
        del response[name]

    return change


WOUND = {"system": NAMES.choices("wound"), "code": "erosions"}
AGE = "QuestionnaireResponse.item[1].item[0].item[0]"
WRONG: dict[str, tuple[Change, list[tuple[str, str]]]] = {
    "an unknown link id": (
        add("person.group.1", {"linkId": "person.age_year", "answer": [{"valueInteger": 1}]}),
        [("unknown-item", "QuestionnaireResponse.item[1].item[0].item[2].linkId")],
    ),
    "a link id in another group": (
        add("left", {"linkId": "person.age_years"}),
        [("misplaced-item", "QuestionnaireResponse.item[2].item[7].linkId")],
    ),
    "an item twice": (
        add("person.group.1", {"linkId": "person.age_years", "answer": [{"valueInteger": 74}]}),
        [("repeated-entry", "QuestionnaireResponse.item[1].item[0].item[2].linkId")],
    ),
    "an item without a link id": (
        add("person.group.1", {"text": "?"}),
        [("missing-element", "QuestionnaireResponse.item[1].item[0].item[2]")],
    ),
    "a number as text": (
        put("person.age_years", {"valueInteger": "74"}),
        [("wrong-type", f"{AGE}.answer[0].value")],
    ),
    "a whole number with decimals": (
        put("person.age_years", {"valueInteger": Decimal("74.0")}),
        [("wrong-type", f"{AGE}.answer[0].value")],
    ),
    "a number as a flag": (
        put("person.age_years", {"valueInteger": True}),
        [("wrong-type", f"{AGE}.answer[0].value")],
    ),
    "another type of value": (
        put("person.age_years", {"valueDecimal": 74}),
        [("wrong-value-type", f"{AGE}.answer[0].value")],
    ),
    "a quantity where a number is asked": (
        put("person.age_years", {"valueQuantity": {"value": 74, "unit": "a"}}),
        [("wrong-value-type", f"{AGE}.answer[0].value")],
    ),
    "two values in an answer": (
        put("person.age_years", {"valueInteger": 74, "valueString": "74"}),
        [("wrong-value-type", f"{AGE}.answer[0]")],
    ),
    "no value in an answer": (
        put("person.age_years", {"id": "a"}),
        [("wrong-value-type", f"{AGE}.answer[0]")],
    ),
    "a null value": (
        put("person.age_years", {"valueInteger": None}),
        [("wrong-type", f"{AGE}.answer[0].value")],
    ),
    "two answers": (
        put("person.age_years", {"valueInteger": 74}, {"valueInteger": 75}),
        [("several-answers", f"{AGE}.answer")],
    ),
    "no answers in a list": (put("person.age_years"), [("empty-element", f"{AGE}.answer")]),
    "an item below an answer": (
        put("person.age_years", {"valueInteger": 74, "item": [{"linkId": "x"}]}),
        [("unknown-item", f"{AGE}.answer[0].item[0].linkId")],
    ),
    "a reason for absence": (
        put("person.age_years", {"_valueInteger": {"extension": []}, "valueInteger": 74}),
        [("modifier-not-known", f"{AGE}.answer[0]")],
    ),
    "an answer to a group": (
        lambda response: response["item"][1].update(answer=[{"valueBoolean": True}]),
        [("unexpected-answer", "QuestionnaireResponse.item[1].answer")],
    ),
    "another code system": (
        put("left.wound", {"valueCoding": {**WOUND, "system": "http://snomed.info/sct"}}),
        [("wrong-code-system", "QuestionnaireResponse.item[2].item[1].item[0].answer[0].value.system")],
    ),
    "no code system": (
        put("left.wound", {"valueCoding": {"code": "erosions"}}),
        [("wrong-code-system", "QuestionnaireResponse.item[2].item[1].item[0].answer[0].value.system")],
    ),
    "no code": (
        put("left.wound", {"valueCoding": {"system": WOUND["system"], "display": "An ulcer"}}),
        [("wrong-type", "QuestionnaireResponse.item[2].item[1].item[0].answer[0].value.code")],
    ),
    "a display that is of another code": (
        put("left.wound", {"valueCoding": {**WOUND, "display": "An ulcer"}}),
        [("display-differs", "QuestionnaireResponse.item[2].item[1].item[0].answer[0].value.display")],
    ),
    "a coding that is a text": (
        put("left.wound", {"valueCoding": "erosions"}),
        [("wrong-type", "QuestionnaireResponse.item[2].item[1].item[0].answer[0].value")],
    ),
    "done and not done": (
        add(
            "left.group.4",
            {"linkId": "left.ankle_girth_cm.not_done", "answer": [{"valueBoolean": True}]},
        ),
        [("conflicting-answers", "QuestionnaireResponse.item[2].item[3].item[4].answer[0].value")],
    ),
    "a status that is no answer": (
        set_to(status="entered-in-error"),
        [("status-not-taken", "QuestionnaireResponse.status")],
    ),
    "no status": (without("status"), [("status-not-taken", "QuestionnaireResponse.status")]),
    "no moment": (without("authored"), [("missing-element", "QuestionnaireResponse")]),
    "no questionnaire": (without("questionnaire"), [("missing-element", "QuestionnaireResponse")]),
    "a questionnaire without a version": (
        set_to(questionnaire=f"{BASE}/Questionnaire/core"),
        [("unknown-questionnaire", "QuestionnaireResponse.questionnaire")],
    ),
    "a questionnaire of another place": (
        set_to(questionnaire="https://elsewhere.invalid/Questionnaire/core|2026.1.0"),
        [("unknown-questionnaire", "QuestionnaireResponse.questionnaire")],
    ),
    "a version that is not here": (
        set_to(questionnaire=f"{BASE}/Questionnaire/core|2019.1.0"),
        [("unknown-questionnaire", "QuestionnaireResponse.questionnaire")],
    ),
    "an element that FHIR does not have": (
        set_to(colour="red"),
        [("unknown-element", "QuestionnaireResponse.colour")],
    ),
    "an extension that changes the meaning": (
        set_to(modifierExtension=[{"url": "https://records.invalid/negated", "valueBoolean": True}]),
        [("modifier-not-known", "QuestionnaireResponse.modifierExtension")],
    ),
    "rules of its own": (
        set_to(implicitRules="https://records.invalid/rules"),
        [("modifier-not-known", "QuestionnaireResponse.implicitRules")],
    ),
    "items that are no list": (
        set_to(item={"linkId": "person"}),
        [("wrong-type", "QuestionnaireResponse.item")],
    ),
    "an item that is no object": (
        set_to(item=["person"]),
        [("wrong-type", "QuestionnaireResponse.item[0]")],
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_is_wrong_with_a_response_is_named_with_its_place(
    name: str, contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    change, expected = WRONG[name]
    response = response_of(contact, edition)
    change(response)
    assert refusals(mapped, response) == expected


def test_everything_wrong_is_named_at_once(contact: dict[str, Any], edition: Edition, mapped: Map) -> None:
    response = response_of(contact, edition)
    for change, _ in (WRONG["no status"], WRONG["two answers"], WRONG["another code system"]):
        change(response)
    codes = [code for code, _ in refusals(mapped, response)]
    assert codes == ["status-not-taken", "several-answers", "wrong-code-system"]


@pytest.mark.parametrize("body", [None, [], "x", 1, {}, {"resourceType": 7}, {"resourceType": "Parameters"}])
def test_what_is_no_resource_is_refused(body: Any, mapped: Map) -> None:
    codes = {
        code
        for code, _ in refusals(mapped, body if isinstance(body, dict) and body else {"resourceType": "X"})
    }
    assert codes <= {"wrong-type", "unexpected-resource"}
    with pytest.raises(InvalidAssessment):
        mapped(body)


def test_a_questionnaire_that_is_no_longer_in_force_is_refused_with_the_one_that_is(
    contact: dict[str, Any], editions: Mapping[str, Edition], forms: Mapping[str, Form], mapped: Map
) -> None:
    """A form that was not renewed must not go on deciding by old rules."""
    first = editions["core-2026.1.0"]
    response = response_of(contact, first)
    day = first.effective_from
    response["authored"] = f"{day.year - 1}-03-02T09:30:00+00:00"
    assert refusals(mapped, response) == [
        ("questionnaire-not-in-force", "QuestionnaireResponse.questionnaire")
    ]


# Who the person is.


@pytest.mark.parametrize(
    ("given_subject", "expected"),
    [
        ({"reference": "Patient/17"}, "subject-not-pseudonymous"),
        ({"reference": "https://records.invalid/Patient/17"}, "subject-not-pseudonymous"),
        ({"display": "Somebody"}, "subject-not-pseudonymous"),
        ({**subject("ep-1"), "display": "Somebody"}, "subject-not-pseudonymous"),
        (
            {"identifier": {"system": "https://fhir.nhs.uk/Id/nhs-number", "value": "ep-1"}},
            "subject-not-pseudonymous",
        ),
        ({"identifier": {"value": "ep-1"}}, "subject-not-pseudonymous"),
        ({"identifier": {"system": NAMES.episode, "value": 7}}, "subject-not-pseudonymous"),
        (subject("ep-999-123-4567"), "patient-number-refused"),
        (subject("999 123 4567"), "patient-number-refused"),
        ({"identifier": "ep-1"}, "subject-not-pseudonymous"),
        ("ep-1", "wrong-type"),
    ],
)
def test_only_a_pseudonym_names_the_person(
    given_subject: Any, expected: str, contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    response = {**response_of(contact, edition), "subject": given_subject}
    with pytest.raises(InvalidAssessment) as caught:
        mapped(response)
    assert {one.code for one in caught.value.diagnostics} == {expected}
    assert "4567" not in str(caught.value)
    assert "Somebody" not in str(caught.value)


@pytest.mark.parametrize(
    "change",
    [
        set_to(identifier={"system": "https://fhir.nhs.uk/Id/nhs-number", "value": "9991234567"}),
        set_to(source={"reference": "Patient/9991234567"}),
        set_to(text={"status": "generated", "div": "<div>999 123 4567</div>"}),
        set_to(author={"display": "999-123-4567"}),
        put("person.age_years", {"valueInteger": 74, "id": "999123 4567"}),
        put("person.age_years", {"valueInteger": 9991234567}),
        put("left.ankle_girth_cm", {"valueDecimal": Decimal("9991234567.0")}),
        set_to(**{"999 123 4567": "x"}),
    ],
)
def test_nothing_anywhere_in_a_request_may_look_like_a_patient_number(
    change: Change, contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    response = response_of(contact, edition)
    change(response)
    with pytest.raises(InvalidAssessment) as caught:
        mapped(response)
    assert {one.code for one in caught.value.diagnostics} == {"patient-number-refused"}
    assert "123" not in str(caught.value)


def test_uuids_dates_and_codes_of_snomed_ct_are_no_patient_numbers(
    contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    response = response_of(contact, edition)
    response["id"] = "01234567-8901-4234-8567-890123456789"
    response["meta"] = {"lastUpdated": "2026-03-02T09:30:00Z"}
    response["meta"]["tag"] = [{"system": "http://snomed.info/sct", "code": "999000000000000001"}]
    assert mapped(response)["episode"] == "ep-heron-0001"


# Bundles and what they hold.

PATIENT = {"resourceType": "Patient", "id": "p"}
OUTCOME = {"resourceType": "OperationOutcome", "issue": [{"severity": "error", "code": "not-found"}]}


def entries(*resources: Any) -> Change:
    def change(bundle: dict[str, Any]) -> None:
        bundle["entry"] += [{"resource": resource} for resource in resources]

    return change


BUNDLES: dict[str, tuple[Change, set[tuple[str, str]]]] = {
    "another type": (set_to(type="transaction"), {("unexpected-bundle", "Bundle.type")}),
    "no type": (without("type"), {("unexpected-bundle", "Bundle.type")}),
    "a page of something": (
        set_to(link=[{"relation": "next", "url": "https://records.invalid/?page=2"}]),
        {("unexpected-bundle", "Bundle.link[0]")},
    ),
    "a total beyond the entries": (set_to(total=5), {("unexpected-bundle", "Bundle.total")}),
    "an OperationOutcome in place of a resource": (
        entries(OUTCOME),
        {("unexpected-resource", "Bundle.entry[1].resource")},
    ),
    "a Patient": (entries(PATIENT), {("subject-not-pseudonymous", "Bundle.entry[1].resource")}),
    "another resource": (
        entries({"resourceType": "Condition"}),
        {("unexpected-resource", "Bundle.entry[1].resource")},
    ),
    "an entry without a resource": (
        set_to(entry=[{"fullUrl": "urn:uuid:1"}]),
        {("unexpected-resource", "Bundle.entry[0].resource"), ("unexpected-bundle", "Bundle.entry")},
    ),
    "no entries": (
        set_to(entry=[]),
        {("empty-element", "Bundle.entry"), ("unexpected-bundle", "Bundle.entry")},
    ),
    "an entry with a request": (
        lambda bundle: bundle["entry"][0].update(request={"method": "POST", "url": "x"}),
        {("unknown-element", "Bundle.entry[0].request")},
    ),
}


@pytest.mark.parametrize("name", BUNDLES)
def test_what_is_wrong_with_a_bundle_is_named_with_its_place(
    name: str, contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    change, expected = BUNDLES[name]
    bundle = collection(response_of(contact, edition))
    change(bundle)
    assert set(refusals(mapped, bundle)) == expected


def test_a_bundle_holds_one_response(contact: dict[str, Any], edition: Edition, mapped: Map) -> None:
    response = response_of(contact, edition)
    assert refusals(mapped, collection(response, response)) == [("unexpected-bundle", "Bundle.entry")]


def test_a_huge_bundle_is_refused_before_it_is_read(
    contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    bundle = collection(response_of(contact, edition), *({"resourceType": "Observation"} for _ in range(500)))
    assert refusals(mapped, bundle) == [("unexpected-bundle", "Bundle.entry")]


def test_a_resource_stands_in_a_bundle_once(contact: dict[str, Any], edition: Edition, mapped: Map) -> None:
    bundle = collection(
        response_of(contact, edition), observation("calf_girth", 41, "cm", "2026-03-02", "left_leg")
    )
    for entry in bundle["entry"]:
        entry["fullUrl"] = "urn:uuid:0b7a4f6e-6a0c-4a0e-9d0b-3f6d3c1f2a77"
    assert refusals(mapped, bundle) == [("repeated-entry", "Bundle.entry[1].fullUrl")]


def test_a_reference_into_the_bundle_must_find_something(
    contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    girth = observation("calf_girth", 41, "cm", "2026-03-02", "left_leg")
    girth["performer"] = [{"reference": "urn:uuid:0b7a4f6e-6a0c-4a0e-9d0b-3f6d3c1f2a77"}]
    bundle = collection(response_of(contact, edition), girth)
    assert refusals(mapped, bundle) == [
        ("unresolved-reference", "Bundle.entry[1].resource.performer[0].reference")
    ]


def test_observations_that_refer_to_one_another_in_a_ring_are_read_once(
    contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    one = observation("calf_girth", 41, "cm", "2026-03-02", "left_leg")
    other = observation("ankle_girth", Decimal("27.5"), "cm", "2026-03-02", "left_leg")
    bundle = collection(response_of(contact, edition), one, other)
    addresses = [f"urn:uuid:0b7a4f6e-6a0c-4a0e-9d0b-3f6d3c1f2a7{number}" for number in range(3)]
    for entry, address in zip(bundle["entry"], addresses, strict=True):
        entry["fullUrl"] = address
    one["derivedFrom"], other["derivedFrom"] = [{"reference": addresses[2]}], [{"reference": addresses[1]}]
    assert mapped(bundle)["limbs"]["left"]["calf_girth_cm"] == 41


def test_contained_observations_are_named_and_found(
    contact: dict[str, Any], edition: Edition, mapped: Map
) -> None:
    del contact["limbs"]["left"]["calf_girth_cm"]
    response = response_of(contact, edition)
    girth = {**observation("calf_girth", 41, "cm", "2026-03-02", "left_leg"), "id": "calf"}
    response["contained"] = [girth]
    assert refusals(mapped, response) == [("unresolved-reference", "QuestionnaireResponse.contained[0]")]
    response["partOf"] = [{"reference": "#calf"}]
    assert mapped(response)["limbs"]["left"]["calf_girth_cm"] == 41
    response["partOf"].append({"reference": "#ankle"})
    assert refusals(mapped, response) == [
        ("unresolved-reference", "QuestionnaireResponse.partOf[1].reference")
    ]
    nested = copy.deepcopy(response)
    nested["partOf"].pop()
    nested["contained"][0]["contained"] = [{"resourceType": "Device", "id": "d"}]
    assert ("unexpected-resource", "QuestionnaireResponse.contained[0].contained") in refusals(mapped, nested)
    nested["contained"] = [{**girth, "id": "calf"}, {**girth, "id": "calf"}]
    assert ("repeated-entry", "QuestionnaireResponse.contained[1]") in refusals(mapped, nested)


JSON_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.text(max_size=12)
    | st.decimals(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=12), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=300)
@given(data=st.data())
def test_whatever_stands_in_a_request_is_answered_or_named(
    data: st.DataObject, prepared: PreparedEdition, mapped: Map
) -> None:
    """One place of a good request is replaced by anything: no other error than the two on purpose."""
    contact = {
        "assessed_at": "2026-03-02T09:30:00+00:00",
        "calendar": "england",
        "episode": "ep-heron-0001",
        "person": {"age_years": 74},
        "limbs": {"left": {"wound": "none", "calf_girth_cm": 41}},
    }
    girth = observation("ankle_girth", 27, "cm", "2026-03-02", "left_leg")
    body: Any = collection(response_of(contact, prepared.edition), girth)
    place: Any = body
    while True:
        keys = list(place) if isinstance(place, dict) else list(range(len(place)))
        key = data.draw(st.sampled_from(keys))
        if not isinstance(place[key], dict | list) or not place[key] or data.draw(st.booleans()):
            break
        place = place[key]
    place[key] = data.draw(JSON_VALUES)
    try:
        found = mapped(body)
    except (InvalidAssessment, NotJson):
        return
    assert found["edition"] == prepared.edition.id
