"""The description of the API is valid, complete, and says what the service does."""

from __future__ import annotations

import json
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import orjson
import pytest
from fastapi import FastAPI
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from openapi_spec_validator import validate

from limbtier.api.openapi import openapi_file, write_openapi
from limbtier.api.problems import problem_types_text
from limbtier.api.request_schema import input_schema
from limbtier.commands.serving import AFTER_EVERY_START
from limbtier.domain.vocabulary import Input
from limbtier.engine.prepared import PreparedEdition
from limbtier.use_cases.decide import ReadyRules
from tests.api.requests_made import request_of
from tests.api.service import CHECKOUT, Service, first_contact, invented, start
from tests.support.assessments import MOMENT, AssessmentMaker

REGENERATE = "write them again with: limbtier openapi"
PATHS_AND_SCHEMAS = {
    "/v1/vocabulary": "Vocabulary",
    "/v1/editions": "EditionList",
    "/v1/editions/core-2026.1.0": "EditionDetail",
    "/v1/editions/core-2026.1.0/rules": "RuleList",
    "/health/live": "Live",
    "/health/ready": "Ready",
}


@pytest.fixture(scope="module")
def described(rules: ReadyRules) -> Iterator[Service]:
    """A service on the day for which the description in the checkout is written, whichever day it is."""
    service = start(rules, clock=lambda: AFTER_EVERY_START)
    with service.client:
        yield service


@pytest.fixture(scope="module")
def app(described: Service) -> FastAPI:
    return described.app


@pytest.fixture(scope="module")
def document(app: FastAPI) -> dict[str, Any]:
    found: dict[str, Any] = orjson.loads(openapi_file(app))
    return found


@pytest.fixture(scope="module")
def active(rules: ReadyRules) -> PreparedEdition:
    found = rules.edition(None, MOMENT)
    assert found is not None
    return found


def validator(document: dict[str, Any], name: str) -> jsonschema.Draft202012Validator:
    """A validator of one schema of the description."""
    schema = {"$ref": f"#/components/schemas/{name}", "components": document["components"]}
    return jsonschema.Draft202012Validator(schema)


@pytest.fixture(scope="module")
def fits_request(document: dict[str, Any]) -> jsonschema.Draft202012Validator:
    return validator(document, "AssessmentRequest")


@pytest.fixture(scope="module")
def fits_preview(document: dict[str, Any]) -> jsonschema.Draft202012Validator:
    return validator(document, "Preview")


def operations(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            yield f"{method.upper()} {path}", operation


def schemas_in(value: Any, place: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema below a value, with its place."""
    match value:
        case dict():
            if isinstance(value.get("type"), str):
                yield place, value
            for name, item in value.items():
                if name not in ("examples", "example"):
                    yield from schemas_in(item, f"{place}/{name}")
        case list():
            for number, item in enumerate(value):
                yield from schemas_in(item, f"{place}/{number}")


# The files in the project.


def test_the_committed_description_is_the_generated_one(app: FastAPI) -> None:
    committed = (CHECKOUT / "openapi" / "openapi.json").read_bytes()
    assert committed == openapi_file(app), REGENERATE


def test_the_committed_problem_types_are_the_generated_ones() -> None:
    committed = (CHECKOUT / "openapi" / "problem-types.md").read_text(encoding="utf-8")
    assert committed == problem_types_text(), REGENERATE


def test_writing_the_description_writes_both_files(app: FastAPI, tmp_path: Path) -> None:
    write_openapi(app, tmp_path / "new" / "openapi.json")
    assert (tmp_path / "new" / "openapi.json").read_bytes() == openapi_file(app)
    assert (tmp_path / "new" / "problem-types.md").read_text(encoding="utf-8") == problem_types_text()


# The description itself.


def test_the_description_is_valid_openapi(document: dict[str, Any]) -> None:
    validate(document)


def test_the_service_serves_the_same_description(described: Service, document: dict[str, Any]) -> None:
    assert described.client.get("/openapi.json").json() == document


def test_every_route_is_described_but_the_files_of_the_page(app: FastAPI, document: dict[str, Any]) -> None:
    routes = {getattr(route, "path", "") for route in app.routes}
    # What is below /fhir describes itself in the words of FHIR, at /fhir/metadata.
    plain = {path for path in routes if not path.startswith("/fhir/")}
    assert plain - set(document["paths"]) == {"/docs/{file}"}


def test_every_operation_has_a_name_of_its_own_and_says_what_it_does(document: dict[str, Any]) -> None:
    found = dict(operations(document))
    assert len({operation["operationId"] for operation in found.values()}) == len(found)
    assert all(operation["summary"] and operation["tags"] for operation in found.values())


def test_every_answer_has_a_kind_and_every_error_is_a_problem(document: dict[str, Any]) -> None:
    for name, operation in operations(document):
        assert {"400", "500"} <= set(operation["responses"]), name
        for status, response in operation["responses"].items():
            assert response["description"], name
            kinds = list(response["content"])
            assert kinds, name
            if int(status) >= 400:
                assert kinds == ["application/problem+json"], name
                schema = response["content"][kinds[0]]["schema"]
                assert schema == {"$ref": "#/components/schemas/Problem"}, name


def test_no_schema_of_the_framework_is_left(document: dict[str, Any]) -> None:
    assert "HTTPValidationError" not in json.dumps(document)
    assert "ValidationError" not in document["components"]["schemas"]


def test_every_text_list_and_number_of_the_description_is_bounded(document: dict[str, Any]) -> None:
    free = []
    for place, schema in schemas_in(document):
        bounds = set(schema)
        if schema["type"] == "string" and not bounds & {"maxLength", "enum", "const", "pattern"}:
            free.append(place)
        if schema["type"] == "array" and "maxItems" not in bounds:
            free.append(place)
        if schema["type"] in ("integer", "number") and not {"minimum", "maximum"} <= bounds:
            free.append(place)
    assert free == []


def test_every_object_is_closed_unless_its_members_are_data(document: dict[str, Any]) -> None:
    open_objects = [
        place
        for place, schema in schemas_in(document)
        if schema["type"] == "object" and schema.get("additionalProperties") is not False
    ]
    assert sorted(place.rpartition("/")[2] for place in open_objects) == [
        "0",
        "0",
        "AcceptedCard",
        "AcceptedSuggestion",
        "AnyObject",
        "CdsFeedback",
        "ChosenReason",
        "DraftOrder",
        "Drafts",
        "OrderContext",
        "OrderSelectCall",
        "OverriddenCard",
        "OverrideReason",
        "PatientContext",
        "PatientViewCall",
        "Prefetched",
        "editions_before",
        "extension",
        "measures",
        "prefetch",
        "reason_words",
        "reasons",
        "reasons",
    ]


def test_every_example_is_marked_invented_and_fits_its_schema(document: dict[str, Any]) -> None:
    for path in ("/v1/previews", "/v1/decisions"):
        operation = document["paths"][path]["post"]
        good = min(operation["responses"])
        for part in (operation["requestBody"], operation["responses"][good]):
            content = part["content"]["application/json"]
            check = validator(document, content["schema"]["$ref"].rpartition("/")[2])
            assert content["examples"], path
            for example in content["examples"].values():
                assert example["description"].startswith("Invented.")
                check.validate(example["value"])


# The schemas and the service.


def test_every_input_is_described_with_its_question(
    document: dict[str, Any], active: PreparedEdition
) -> None:
    for scope, name in (("person", "PersonAnswers"), ("limb", "LimbAnswers")):
        described = document["components"]["schemas"][name]["properties"]
        inputs = [entry for entry in active.edition.vocabulary.inputs.values() if entry.scope == scope]
        assert list(described) == [entry.name for entry in inputs]
        for entry in inputs:
            assert described[entry.name]["description"].startswith(entry.question)
            asked_when = "Asked only when" in described[entry.name]["description"]
            assert asked_when == (entry.asked_when is not None)


@pytest.mark.parametrize(
    "name", ["first_contact.json", "incomplete_contact.json", "both_legs.json", "follow_up.json"]
)
def test_invented_contacts_and_their_answers_fit_the_description(
    shared_service: Service, document: dict[str, Any], name: str
) -> None:
    body = invented(name)
    validator(document, "AssessmentRequest").validate(orjson.loads(body))
    validator(document, "Preview").validate(shared_service.post("/v1/previews", body).json())
    validator(document, "StoredDecision").validate(shared_service.post("/v1/decisions", body).json())


@pytest.mark.parametrize("path", PATHS_AND_SCHEMAS)
def test_answers_about_editions_fit_the_description(
    shared_service: Service, document: dict[str, Any], path: str
) -> None:
    validator(document, PATHS_AND_SCHEMAS[path]).validate(shared_service.client.get(path).json())


def test_a_decision_with_a_member_more_or_less_does_not_fit(
    shared_service: Service, fits_preview: jsonschema.Draft202012Validator
) -> None:
    check = fits_preview
    decision = shared_service.post("/v1/previews", first_contact()).json()
    leg = decision["limbs"]["left"]
    for part in (decision, leg, leg["review"], leg["trace"]["rules"][0], leg["reasons"][0]):
        for name, value in list(part.items()):
            del part[name]
            assert not check.is_valid(decision), name
            part[name] = value
        part["more"] = 1
        assert not check.is_valid(decision)
        del part["more"]
    check.validate(decision)


@settings(max_examples=40)
@given(seed=st.integers(0, 2**48))
def test_any_assessment_fits_the_description_is_answered_and_so_does_its_answer(
    seed: int,
    shared_service: Service,
    active: PreparedEdition,
    fits_request: jsonschema.Draft202012Validator,
    fits_preview: jsonschema.Draft202012Validator,
) -> None:
    request = request_of(AssessmentMaker(active).make(seed), active.edition.vocabulary)
    assume(request["limbs"]["left"])
    fits_request.validate(request)
    answer = shared_service.post("/v1/previews", request)
    assert answer.status_code == 200, answer.text
    fits_preview.validate(answer.json())


def candidates(entry: Input) -> Iterator[Any]:
    """Answers to one question, good and bad: of every type, and on and beside every edge."""
    yield from (None, True, False, "yes", "no", "", "not_done", "not done", [], {}, 0, -1, 1, 10**9, "1")
    yield from (choice.value for choice in entry.choices)
    yield from ("2026-02-28", "2026-2-28", "2026-13-01", "2026-02-28T00:00:00Z")
    for edge in (entry.range.at_least, entry.range.at_most):
        if edge is not None:
            for step in (Decimal(1), Decimal("0.1"), Decimal("0.01"), Decimal("0.001")):
                exact = Decimal(edge.numerator) / edge.denominator
                for number in (exact - step, exact, exact + step):
                    yield number if number % 1 else int(number)
                    yield [int(number), int(number)]
    yield from ([30, 31], [30], [30, "31"], [30, Decimal("30.55")], [Decimal("30.5")] * 40, [30] * 41)


def test_the_schema_of_an_input_accepts_exactly_what_the_reader_accepts(active: PreparedEdition) -> None:
    compared = 0
    for entry in active.edition.vocabulary.inputs.values():
        check = jsonschema.Draft202012Validator(input_schema(entry))
        for answer in candidates(entry):
            _, found = active.answers.read({entry.name: answer}, entry.scope, [], MOMENT.date())
            codes = {item.code for item in found if item.severity == "error"}
            if entry.places:
                codes.discard("too-many-decimals")  # told in words, see `request_schema.py`
            sent = orjson.loads(orjson.dumps(answer, default=float))
            assert check.is_valid(sent) == (not codes), (entry.name, answer)
            compared += 1
    assert compared > 2000
