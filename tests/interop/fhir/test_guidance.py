"""What is answered in FHIR is right by FHIR, and says what the decision says and nothing more."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.domain.edition import Edition
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.interop.fhir.conformance import capability_statement, operation_definition
from limbtier.interop.fhir.guidance import Asked, guidance_bundle, status_of
from limbtier.interop.fhir.outcome import BY_FINDING, BY_STATUS, fhir_path, operation_outcome
from limbtier.interop.fhir.questionnaire import canonical
from limbtier.use_cases.decide import Decider, ReadyRules
from tests.api.requests_made import request_of
from tests.interop.fhir.conftest import CHECKOUT
from tests.support.assessments import AssessmentMaker
from tests.support.fhir_requests import NAMES
from tests.support.fhir_validators import FHIR, faults

DECISION = "0b7a4f6e-6a0c-4a0e-9d0b-3f6d3c1f2a77"
Bundle = dict[str, Any]


def asked_by(edition: Edition, **more: Any) -> Asked:
    named = {"root": "Bundle", "episode": "ep-heron-0001", "notes": (), "warnings": (), **more}
    return Asked(questionnaire=canonical(edition, NAMES), **named)


def bundle_of(record: Mapping[str, Any], edition: Edition, **more: Any) -> Bundle:
    return guidance_bundle(record, edition, asked_by(edition, **more), NAMES)


def record_of(rules: ReadyRules, request: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(Decider(rules).preview(json.dumps(request).encode()))
    return found


def of_type(bundle: Bundle, kind: str) -> list[dict[str, Any]]:
    return [one["resource"] for one in bundle["entry"] if one["resource"]["resourceType"] == kind]


def only(bundle: Bundle, kind: str) -> dict[str, Any]:
    (found,) = of_type(bundle, kind)
    return found


def invented(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((CHECKOUT / "demo_data" / name).read_bytes())
    return found


CONTACTS = ["first_contact.json", "both_legs.json", "follow_up.json", "incomplete_contact.json"]


@pytest.mark.parametrize("name", CONTACTS)
def test_the_answer_to_every_invented_contact_is_right_by_fhir(
    name: str, rules: ReadyRules, editions: Mapping[str, Edition], shared_data: Path
) -> None:
    record = record_of(rules, invented(name))
    edition = editions[record["edition"]["id"]]
    warning = Diagnostic("unusual-value", "x", "y", "/entry/0/resource/item/0")
    notes = [("Something was converted.", ("entry", 1, "resource", "valueQuantity"))]
    for decision_id in (None, DECISION):
        bundle = bundle_of({**record, "id": decision_id}, edition, warnings=[warning], notes=notes)
        assert faults(bundle, shared_data) == []


@settings(max_examples=12)
@given(seed=st.integers(0, 2**48))
def test_the_answer_to_any_assessment_is_right_by_fhir_and_says_what_was_decided(
    seed: int, rules: ReadyRules, prepared: PreparedEdition, shared_data: Path
) -> None:
    request = request_of(AssessmentMaker(prepared).make(seed), prepared.edition.vocabulary)
    if not request["limbs"]["left"]:
        return
    record = record_of(rules, request)
    edition = rules.editions[record["edition"]["id"]].edition
    bundle = bundle_of(record, edition)
    assert faults(bundle, shared_data) == []
    assert_says_what_was_decided(bundle, record, edition)


@settings(max_examples=150)
@given(seed=st.integers(0, 2**48))
def test_the_answer_to_any_assessment_says_what_was_decided(
    seed: int, rules: ReadyRules, prepared: PreparedEdition
) -> None:
    request = request_of(AssessmentMaker(prepared).make(seed), prepared.edition.vocabulary)
    if request["limbs"]["left"]:
        record = record_of(rules, request)
        edition = rules.editions[record["edition"]["id"]].edition
        assert_says_what_was_decided(bundle_of(record, edition), record, edition)


def assert_says_what_was_decided(bundle: Bundle, record: Mapping[str, Any], edition: Edition) -> None:
    limb = record["limbs"]["left"]
    response, plan = only(bundle, "GuidanceResponse"), only(bundle, "CarePlan")
    requests, task = of_type(bundle, "ServiceRequest"), only(bundle, "Task")
    # Nothing is ordered.
    assert {one["intent"] for one in (plan, task, *requests)} == {"proposal"}
    assert {one["status"] for one in (plan, task, *requests)} <= {"draft", "on-hold"}
    # The status.
    open_questions = bool(limb["questions"])
    if limb["disposition"] == "cannot_decide_yet":
        assert response["status"] == "data-required"
    else:
        assert response["status"] == ("data-requested" if open_questions else "success")
    required = [one["codeFilter"][0]["code"][0]["code"] for one in response.get("dataRequirement", [])]
    places = {"limb": "left", "person": "person"}
    assert required == [f"{places[one['scope']]}.{one['input']}" for one in limb["questions"]]
    assert response["status"] != "data-required" or required
    # The tier: proposed exactly when something is to be put on, forbidden when nothing is or not yet.
    compression = [one for one in requests if "coding" not in one["code"] or _is_tier(one)]
    if limb["disposition"] == "not_indicated":
        assert compression == []
    else:
        (one,) = compression
        put_on = (
            limb["disposition"] in ("start", "continue", "step_up", "step_down")
            and limb["tier"] != "withhold"
        )
        assert one.get("doNotPerform", False) == (not put_on)
        if put_on:
            assert one["code"]["coding"][0]["code"] == limb["tier"]
            assert one["patientInstruction"] == " ".join(limb["safety_net"])
        assert one["note"][0]["text"] == record["caution"]
        notes = {note["text"] for note in one["note"]}
        assert {caution["text"] for caution in limb["cautions"]} <= notes
        assert limb["provisional"] is None or limb["provisional"] in notes
    # Arrangements, the review, the caution.
    due = [one for one in limb["arrangements"] if one["state"] == "due"]
    arranged = [one for one in requests if one not in compression]
    assert [one["code"]["coding"][0]["code"] for one in arranged] == [one["what"] for one in due]
    assert [one["occurrencePeriod"]["end"] for one in arranged] == [one["due_on"] for one in due]
    details = [one["detail"] for one in plan["activity"] if "detail" in one]
    assert len(details) == len(limb["arrangements"]) - len(due)
    assert task["restriction"]["period"]["end"] == record["person"]["review"]["due_on"]
    for one in (response, plan, task):
        assert one["note"][0]["text"] == record["caution"]
    for one in (response, plan):
        assert record["caution"] in one["text"]["div"]
    # Where it comes from.
    origin = only(bundle, "Provenance")
    stated = {one["what"]["identifier"]["value"] for one in origin["entity"]}
    assert {edition.digest, canonical(edition, NAMES)} <= stated
    addresses = {one["fullUrl"] for one in bundle["entry"]}
    assert len(addresses) == len(bundle["entry"])
    assert {one["reference"] for one in origin["target"]} == addresses - {f"urn:uuid:{origin['id']}"}
    named = {one["reference"]["reference"] for one in plan["activity"] if "reference" in one}
    assert named == {f"urn:uuid:{one['id']}" for one in (*requests, task)}
    assert response["result"]["reference"] == f"urn:uuid:{plan['id']}"


def _is_tier(request: Mapping[str, Any]) -> bool:
    return bool(request["code"]["coding"][0]["system"] == NAMES.codes("tier"))


def test_a_leg_that_waits_for_the_other_is_on_hold(
    rules: ReadyRules, editions: Mapping[str, Edition]
) -> None:
    record = record_of(rules, invented("both_legs.json"))
    edition = editions[record["edition"]["id"]]
    assert edition.wording.other_leg_waits in record["person"]["text"]
    requests = of_type(bundle_of(record, edition), "ServiceRequest")
    left = next(one for one in requests if _is_tier(one) and one["bodySite"] == [{"text": "Left leg"}])
    assert left["status"] == "on-hold"
    assert {"text": edition.wording.other_leg_waits} in left["note"]
    right = next(one for one in requests if one.get("doNotPerform"))
    assert right["bodySite"] == [{"text": "Right leg"}]
    assert right["code"]["text"] == "Right leg: put on no compression"
    urgent = [one["code"]["coding"][0]["code"] for one in requests if one.get("priority") == "urgent"]
    assert urgent
    assert only(bundle_of(record, edition), "Task")["priority"] == "urgent"


def test_a_decision_that_is_kept_is_named_and_the_same_record_gives_the_same_bundle(
    rules: ReadyRules, editions: Mapping[str, Edition]
) -> None:
    record = {**record_of(rules, invented("first_contact.json")), "id": DECISION}
    edition = editions[record["edition"]["id"]]
    bundle = bundle_of(record, edition)
    assert bundle == bundle_of(record, edition)
    assert bundle["identifier"] == {"system": NAMES.decision, "value": DECISION}
    stated = {one["what"]["identifier"]["value"] for one in only(bundle, "Provenance")["entity"]}
    assert DECISION in stated
    assert "identifier" not in bundle_of({**record, "id": None}, edition)


def test_without_an_episode_the_person_has_no_name_at_all(
    rules: ReadyRules, editions: Mapping[str, Edition], shared_data: Path
) -> None:
    record = record_of(rules, invented("first_contact.json"))
    bundle = bundle_of(record, editions[record["edition"]["id"]], episode=None)
    assert only(bundle, "CarePlan")["subject"] == {"type": "Patient", "display": "The person assessed"}
    assert faults(bundle, shared_data) == []


EPISODE = {
    "completed": [
        {
            "scope": "left",
            "input": "first_contact_on",
            "value": "2026-02-01",
            "on": "2026-02-01",
            "instead_of": None,
        },
        {"scope": "person", "input": "diabetes", "value": "yes", "on": "2026-02-01", "instead_of": "no"},
        {"scope": "left", "input": "tolerance", "value": None, "on": "2026-02-01", "instead_of": "good"},
        {
            "scope": "left",
            "input": "start_girth_series_cm",
            "value": ["251/10", "27"],
            "on": "2026-02-01",
            "instead_of": None,
        },
    ],
    "watch": [
        {
            "limb": "left",
            "rule": "long-at-a-starter-tier",
            "title": "Long at a starter tier",
            "state": "applies",
            "action": "Look for what holds it there.",
            "due_on": "2026-03-03",
            "because": "It should have been stepped up.",
            "sources": [],
        }
    ],
}


def test_what_the_history_of_the_episode_changed_and_asks_for_is_told(
    rules: ReadyRules, editions: Mapping[str, Edition], shared_data: Path
) -> None:
    record = {**record_of(rules, invented("first_contact.json")), "episode": EPISODE}
    bundle = bundle_of(record, editions[record["edition"]["id"]])
    assert faults(bundle, shared_data) == []
    issues = only(bundle, "GuidanceResponse")["contained"][0]["issue"]
    assert [one["severity"] for one in issues] == ["information", "warning", "warning", "information"]
    assert "The answer sent was no." in issues[1]["details"]["text"]
    assert "25.1, 27, of" in issues[3]["details"]["text"]
    review, watched = of_type(bundle, "Task")
    assert review["code"] == {"text": "Review"}
    assert watched["restriction"]["period"]["end"] == "2026-03-03"
    named = {one["reference"]["reference"] for one in only(bundle, "CarePlan")["activity"]}
    assert f"urn:uuid:{watched['id']}" in named


def test_words_are_escaped_in_a_narrative(rules: ReadyRules, editions: Mapping[str, Edition]) -> None:
    record = record_of(rules, invented("first_contact.json"))
    record["caution"] = "<script>alert(1)</script> & more"
    narrative = only(bundle_of(record, editions[record["edition"]["id"]]), "CarePlan")["text"]["div"]
    assert "<script>" not in narrative
    assert "&lt;script&gt;" in narrative


@pytest.mark.parametrize(
    ("limbs", "expected"),
    [
        ([("start", []), ("start", [])], "success"),
        ([("start", []), ("start", ["q"])], "data-requested"),
        ([("stop_and_escalate", []), ("cannot_decide_yet", ["q"])], "data-required"),
    ],
)
def test_the_status_is_that_of_the_leg_that_lacks_most(
    limbs: list[tuple[str, list[str]]], expected: str
) -> None:
    sides = zip(("left", "right"), limbs, strict=True)
    record = {"limbs": {side: {"disposition": one, "questions": asked} for side, (one, asked) in sides}}
    assert status_of(record) == expected


# Conformance, and what is wrong.


def test_the_conformance_statement_is_right_by_fhir(shared_data: Path) -> None:
    found = faults(capability_statement(NAMES), shared_data)
    # The JSON Schema that was published with R4 lists versions up to 4.0.0 only.
    assert all("fhirVersion" in fault and "'4.0.1' is not one of" in fault for fault in found)
    assert len(found) <= 1
    assert faults(operation_definition(NAMES), shared_data) == []


def test_every_kind_of_issue_is_one_that_fhir_knows(shared_data: Path) -> None:
    """HL7 FHIR R4 4.0.1, code system issue-type."""
    file = shared_data / FHIR / "codesystems" / "CodeSystem-issue-type.json"
    known: set[str] = set()

    def collect(concepts: list[dict[str, Any]]) -> None:
        for one in concepts:
            known.add(one["code"])
            collect(one.get("concept", []))

    collect(json.loads(file.read_text(encoding="utf-8"))["concept"])
    assert {*BY_STATUS.values(), *BY_FINDING.values()} <= known


def test_a_fault_of_the_service_is_fatal_and_names_its_occurrence(shared_data: Path) -> None:
    error = {"code": "engines-disagree", "detail": "x", "help": "Report it."}
    problem = {"status": 500, "instance": "urn:uuid:1", "errors": [error]}
    outcome = operation_outcome(problem, "Resource", NAMES)
    assert outcome["issue"][0]["severity"] == "fatal"
    assert outcome["issue"][0]["code"] == "exception"
    assert "urn:uuid:1" in outcome["issue"][0]["diagnostics"]
    assert faults(outcome, shared_data) == []


@pytest.mark.parametrize(
    ("fragment", "expected"),
    [
        ("#", "Bundle"),
        ("#/entry/0/resource/item/12/linkId", "Bundle.entry[0].resource.item[12].linkId"),
        ("#/entry/0/resource/valueQuantity/value", "Bundle.entry[0].resource.value.value"),
        ("#/entry/0/resource/effectiveDateTime", "Bundle.entry[0].resource.effective"),
        ("#/_status", "Bundle"),
        ("#/a%20b/c", "Bundle"),
        ("#/valued", "Bundle.valued"),
    ],
)
def test_a_pointer_becomes_a_simple_fhirpath(fragment: str, expected: str) -> None:
    assert fhir_path("Bundle", fragment) == expected
