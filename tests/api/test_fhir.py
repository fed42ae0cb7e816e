"""FHIR over HTTP: one way of decision with the plain interface, and every error an OperationOutcome."""

from __future__ import annotations

import json
import logging
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.domain.edition import Edition
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.strict_json import read_json
from limbtier.interop.fhir.submission import written
from limbtier.use_cases.decide import ReadyRules
from tests.api.requests_made import request_of
from tests.api.service import MOST_BODY_BYTES, Service, bearer, first_contact, invented, start
from tests.support.assessments import MOMENT, AssessmentMaker
from tests.support.fhir_requests import collection, item_of, observation, response_of
from tests.support.fhir_validators import faults

EVALUATE = "/fhir/QuestionnaireResponse/$evaluate"
PREVIEW = f"{EVALUATE}?preview=true"
FHIR_JSON = {"Content-Type": "application/fhir+json"}
KEY = {"Idempotency-Key": '"0b7a4f6e-6a0c-4a0e-9d0b-3f6d3c1f2a77"'}


@pytest.fixture(scope="module")
def prepared(rules: ReadyRules) -> PreparedEdition:
    found = rules.edition(None, MOMENT)
    assert found is not None
    return found


@pytest.fixture
def edition(prepared: PreparedEdition) -> Edition:
    return prepared.edition


def send(
    service: Service, body: Any, path: str = EVALUATE, headers: dict[str, str] | None = None
) -> httpx2.Response:
    content = body if isinstance(body, bytes) else written(body)
    return service.client.post(path, content=content, headers={**FHIR_JSON, **(headers or {})})


def outcome_of(answer: httpx2.Response, status: int) -> list[tuple[str, str | None]]:
    """Code and FHIRPath of each issue of an answer that must be an OperationOutcome."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/fhir+json"
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["content-length"] == str(len(answer.content))
    outcome = answer.json()
    assert outcome["resourceType"] == "OperationOutcome"
    assert all(one["details"]["text"] and one["diagnostics"] for one in outcome["issue"])
    return [
        (one["details"]["coding"][0]["code"], one.get("expression", [None])[0]) for one in outcome["issue"]
    ]


def entries(service: Service) -> int:
    return service.log.store.head().size


def resource(bundle: dict[str, Any], kind: str) -> dict[str, Any]:
    found: dict[str, Any] = next(
        one["resource"] for one in bundle["entry"] if one["resource"]["resourceType"] == kind
    )
    return found


# One way of decision.


def test_a_decision_asked_for_in_fhir_is_the_decision_of_the_plain_interface(
    service: Service, edition: Edition, shared_data: Path
) -> None:
    contact = first_contact()
    plain = service.post("/v1/previews", {**contact, "edition": edition.id}).json()
    answer = send(service, response_of(contact, edition))
    assert answer.status_code == 201
    assert answer.headers["content-type"] == "application/fhir+json"
    assert faults(answer.json(), shared_data) == []
    kept = service.client.get(answer.headers["location"]).json()
    assert answer.json()["identifier"]["value"] == kept["id"]
    assert json.loads(kept["received"]) == {**contact, "edition": edition.id}
    assert kept["limbs"] == plain["limbs"]
    assert kept["person"] == plain["person"]
    assert kept["caller"]["organisation"]


@settings(max_examples=15)
@given(seed=st.integers(0, 2**48))
def test_any_assessment_gets_the_same_decision_both_ways(
    seed: int, prepared: PreparedEdition, shared_service: Service
) -> None:
    request = request_of(AssessmentMaker(prepared).make(seed), prepared.edition.vocabulary)
    if not request["limbs"]["left"]:
        return
    exact = json.loads(json.dumps(request), parse_float=Decimal)
    answer = send(shared_service, response_of(exact, prepared.edition))
    assert answer.status_code == 201, answer.text
    kept = shared_service.client.get(answer.headers["location"]).json()
    plain = shared_service.post("/v1/previews", {**request, "edition": prepared.edition.id}).json()
    assert kept["limbs"] == plain["limbs"]
    assert kept["warnings"] == plain["warnings"]
    messages = resource(answer.json(), "GuidanceResponse").get("contained", [{"issue": []}])[0]["issue"]
    assert len(messages) == len(plain["warnings"])


def test_a_preview_is_the_same_answer_and_keeps_nothing(service: Service, edition: Edition) -> None:
    before = entries(service)
    answer = send(service, response_of(first_contact(), edition), PREVIEW)
    assert answer.status_code == 200
    assert "location" not in answer.headers
    assert "identifier" not in answer.json()
    assert resource(answer.json(), "CarePlan")["intent"] == "proposal"
    assert entries(service) == before


def test_a_request_sent_again_with_its_key_is_answered_byte_for_byte_and_decided_once(
    service: Service, edition: Edition
) -> None:
    girth = observation("calf_girth", 410, "mm", "2026-03-02", "left_leg")
    body = collection(response_of(first_contact(), edition), girth)
    first = send(service, body, headers=KEY)
    before = entries(service)
    again = send(service, body, headers=KEY)
    assert (again.status_code, again.content) == (201, first.content)
    assert entries(service) == before
    other = {**first_contact(), "episode": "ep-heron-0009"}
    refused = send(service, response_of(other, edition), headers=KEY)
    assert outcome_of(refused, 422) == [("idempotency-key-reused", None)]
    # The same key is the same request, whichever way it comes.
    assert service.post("/v1/decisions", other, KEY).status_code == 422


def test_a_leg_that_cannot_be_decided_asks_for_the_data_that_is_missing(
    service: Service, edition: Edition
) -> None:
    contact = {**first_contact(), "limbs": {"left": {"wound": "erosions", "leaking": True}}, "person": {}}
    guidance = resource(send(service, response_of(contact, edition)).json(), "GuidanceResponse")
    assert guidance["status"] == "data-required"
    links = [one["codeFilter"][0]["code"][0]["code"] for one in guidance["dataRequirement"]]
    asked = service.client.get(f"/fhir/Questionnaire/{edition.id}").text
    assert "left.suspected_dvt" in links
    assert all(f'"linkId":"{link}"' in asked for link in links)


def test_a_conversion_and_an_unusual_value_are_told_in_the_answer(service: Service, edition: Edition) -> None:
    contact = first_contact()
    del contact["limbs"]["left"]["calf_girth_cm"]
    girth = observation("calf_girth", 35, "[in_i]", "2026-03-02", "left_leg")
    answer = send(service, collection(response_of(contact, edition), girth), PREVIEW)
    messages = resource(answer.json(), "GuidanceResponse")["contained"][0]
    assert [(one["severity"], one["expression"]) for one in messages["issue"]] == [
        ("warning", ["Bundle.entry[1].resource"]),
        ("information", ["Bundle.entry[1].resource.value"]),
    ]
    assert "35 [in_i] was read as 88.9 cm" in messages["issue"][1]["details"]["text"]


def test_findings_of_the_reader_are_placed_in_the_fhir_request(service: Service, edition: Edition) -> None:
    contact = first_contact()
    response = response_of(contact, edition)
    item_of(response, "person.age_years")["answer"] = [{"valueInteger": 200}]
    item_of(response, "left.first_contact_on")["answer"] = [{"valueDate": "2027-01-01"}]
    del response["item"][0]  # the calendar
    assert outcome_of(send(service, response), 422) == [
        ("missing-field", "QuestionnaireResponse"),
        ("future-date", "QuestionnaireResponse.item[1].item[6].item[0].answer[0].value"),
        ("out-of-range", "QuestionnaireResponse.item[0].item[0].item[0].answer[0].value"),
    ]


def test_an_answer_to_a_question_that_is_not_asked_is_refused(service: Service, edition: Edition) -> None:
    contact = first_contact()
    contact["limbs"]["left"]["wound"] = "none"
    codes = {code for code, _ in outcome_of(send(service, response_of(contact, edition)), 422)}
    assert codes == {"contradicting-answer"}


def test_the_invented_bundle_is_the_first_contact(service: Service, shared_data: Path) -> None:
    bundle = json.loads(invented("fhir_first_contact.json"))
    assert faults(bundle, shared_data) == []
    kept = service.client.get(send(service, invented("fhir_first_contact.json")).headers["location"]).json()
    assert json.loads(kept["received"]) == {**first_contact(), "edition": "core-2026.1.0"}


# Nothing of a bad request is kept or written into a log.


@pytest.mark.parametrize("where", ["subject", "text", "answer"])
def test_a_patient_number_is_never_kept_logged_or_repeated(
    where: str, service: Service, edition: Edition, caplog: pytest.LogCaptureFixture
) -> None:
    number = "999 123 4560"
    response = response_of(first_contact(), edition)
    if where == "subject":
        response["subject"]["identifier"]["value"] = number
    elif where == "text":
        response["text"] = {"status": "generated", "div": f"<div>{number}</div>"}
    else:
        coding = {"system": "https://limbtier.invalid/fhir/CodeSystem/wound", "code": number}
        item_of(response, "left.wound")["answer"] = [{"valueCoding": coding}]
    before = entries(service)
    with caplog.at_level(logging.DEBUG):
        answer = send(service, response)
    assert {code for code, _ in outcome_of(answer, 422)} == {"patient-number-refused"}
    assert entries(service) == before
    assert "4560" not in answer.text
    assert "4560" not in caplog.text


def test_what_is_not_read_may_be_nested_as_deep_as_fhir_nests(service: Service, edition: Edition) -> None:
    extension: dict[str, Any] = {"url": "https://records.invalid/x", "valueString": "y"}
    for _ in range(5):
        extension = {"url": "https://records.invalid/x", "extension": [extension]}
    girth = observation("calf_girth", 41, "cm", "2026-03-02", "left_leg")
    girth["code"]["coding"][0]["extension"] = [extension]
    bundle = collection(response_of(first_contact(), edition), girth)
    body = {"resourceType": "Parameters", "parameter": [{"name": "resource", "resource": bundle}]}
    assert send(service, body, PREVIEW).status_code == 200


def test_no_address_in_a_request_is_ever_fetched(
    service: Service, edition: Edition, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_network(*_: object) -> None:
        raise AssertionError("a connection was opened")

    monkeypatch.setattr("socket.socket.connect", no_network)
    response = response_of(first_contact(), edition)
    address = "http://127.0.0.1:9/Patient/1"
    response["author"] = {"reference": address}
    response["meta"] = {"profile": [address]}
    girth = observation("calf_girth", 41, "cm", "2026-03-02", "left_leg")
    girth["device"] = {"reference": address}
    body = collection(response, girth)
    body["entry"][1]["fullUrl"] = address
    assert send(service, body, PREVIEW).status_code == 200
    response["questionnaire"] = f"{address}|1"
    assert outcome_of(send(service, response, PREVIEW), 422) == [
        ("unknown-questionnaire", "QuestionnaireResponse.questionnaire")
    ]


# Errors of every kind are OperationOutcomes.


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        (b"", 400, "not-json"),
        (b"{", 400, "not-json"),
        (b'{"resourceType": "Bundle", "resourceType": "Bundle"}', 400, "not-json"),
        (b'{"resourceType": NaN}', 400, "not-json"),
        (b"\xff", 400, "not-json"),
        (b"[" * 50 + b"]" * 50, 400, "not-json"),
        (b"{}", 422, "unexpected-resource"),
        (b"[]", 422, "wrong-type"),
        (b'{"resourceType": "Observation"}', 422, "unexpected-resource"),
        (b" " * (4 * MOST_BODY_BYTES + 1), 413, "body-too-large"),
    ],
)
def test_a_body_that_cannot_be_read_is_told_as_an_operation_outcome(
    shared_service: Service, shared_data: Path, body: bytes, status: int, code: str
) -> None:
    answer = send(shared_service, body)
    assert {found for found, _ in outcome_of(answer, status)} == {code}
    assert faults(answer.json(), shared_data) == []


@pytest.mark.parametrize(
    ("content_type", "taken"),
    [
        ("application/fhir+json", True),
        ("application/fhir+json; charset=utf-8", True),
        ("application/fhir+json; fhirVersion=4.0", True),
        ("application/fhir+json; charset=UTF-8; fhirVersion=4.0", True),
        ("application/json", True),
        ("application/fhir+json; fhirVersion=5.0", False),
        ("application/fhir+xml", False),
        ("application/json; fhirVersion=4.0", False),
        ("text/plain", False),
    ],
)
def test_fhir_json_of_release_4_is_taken(
    shared_service: Service, edition: Edition, content_type: str, taken: bool
) -> None:
    answer = send(
        shared_service, response_of(first_contact(), edition), PREVIEW, {"Content-Type": content_type}
    )
    if taken:
        assert answer.status_code == 200
    else:
        assert outcome_of(answer, 415) == [("unsupported-media-type", None)]


def test_errors_of_the_router_and_of_access_are_told_alike(shared_service: Service) -> None:
    client = shared_service.client
    assert outcome_of(client.get("/fhir/Patient"), 404) == [("unknown-route", None)]
    assert outcome_of(client.get("/fhir"), 404) == [("unknown-route", None)]
    wrong_method = client.delete("/fhir/metadata")
    assert outcome_of(wrong_method, 405) == [("method-not-allowed", None)]
    assert wrong_method.headers["allow"] == "GET, HEAD, OPTIONS"
    assert outcome_of(client.get("/fhir/Questionnaire/none"), 404) == [("unknown-questionnaire", None)]
    assert outcome_of(client.get("/fhir/OperationDefinition/x"), 404) == [("unknown-definition", None)]
    for query in ("preview=yes", "preview=true&preview=true", "_format=xml", "patient=1"):
        codes = outcome_of(client.post(f"{EVALUATE}?{query}", headers=FHIR_JSON), 422)
        assert codes[0][0] in ("bad-parameter", "repeated-parameter", "unknown-parameter")
    unknown = client.get("/fhir/Questionnaire", headers=bearer("nobody"))
    assert outcome_of(unknown, 401) == [("token-refused", None)]
    assert unknown.headers["www-authenticate"].startswith("Bearer ")
    head = client.head("/fhir/nothing")
    assert (head.status_code, head.content) == (404, b"")
    assert head.headers["content-type"] == "application/fhir+json"
    assert "content-length" not in head.headers
    # Elsewhere they stay problems.
    assert client.get("/fhirs").headers["content-type"] == "application/problem+json"


def test_a_caller_without_the_scope_is_refused(service: Service, edition: Edition) -> None:
    auditor = service.keys.of_role["auditor"]
    answer = send(service, response_of(first_contact(), edition), headers=bearer(auditor))
    assert outcome_of(answer, 403) == [("insufficient-scope", None)]
    assert service.client.get("/fhir/Questionnaire", headers=bearer(auditor)).status_code == 200


def test_a_decision_that_cannot_be_kept_is_not_given(rules: ReadyRules, edition: Edition) -> None:
    service = start(rules)
    with service.client:
        service.break_log()
        answer = send(service, response_of(first_contact(), edition))
        assert outcome_of(answer, 503)[0][0] == "store-unavailable"
        assert "mild" not in answer.text


# What is served.


def test_questionnaires_are_found_by_their_canonical(
    service: Service, edition: Edition, shared_data: Path
) -> None:
    every = service.client.get("/fhir/Questionnaire").json()
    assert every["type"] == "searchset"
    assert every["total"] == len(every["entry"]) == len(service.decider.rules.editions)
    url = f"https://limbtier.invalid/fhir/Questionnaire/{edition.name}"
    one = service.client.get("/fhir/Questionnaire", params={"url": url, "version": edition.version}).json()
    assert [entry["resource"]["version"] for entry in one["entry"]] == [edition.version]
    assert faults(one, shared_data) == []
    none = service.client.get("/fhir/Questionnaire", params={"url": "https://elsewhere.invalid"}).json()
    assert none["total"] == 0
    read = service.client.get(f"/fhir/Questionnaire/{edition.id}?_format=json")
    assert read.json() == one["entry"][0]["resource"]
    assert read.headers["content-type"] == "application/fhir+json"


def test_the_conformance_statement_is_open_and_names_what_is_there(service: Service) -> None:
    statement = service.client.get("/fhir/metadata", headers={"Authorization": ""}).json()
    assert statement["fhirVersion"] == "4.0.1"
    served = {one["type"]: one for one in statement["rest"][0]["resource"]}
    operation = served["QuestionnaireResponse"]["operation"][0]
    definition = service.client.get("/fhir/OperationDefinition/evaluate").json()
    assert operation["definition"] == definition["url"]
    assert definition["code"] == operation["name"] == EVALUATE.partition("$")[2]
    paths = {getattr(route, "path", "") for route in service.app.routes}
    assert {path for path in paths if path.startswith("/fhir")} == {
        "/fhir/metadata",
        "/fhir/OperationDefinition/{definition_id}",
        "/fhir/Questionnaire",
        "/fhir/Questionnaire/{questionnaire_id}",
        EVALUATE,
    }


def test_the_answer_is_json_that_reads_the_same_strictly(service: Service, edition: Edition) -> None:
    answer = send(service, response_of(first_contact(), edition))
    assert read_json(answer.content) == answer.json()
