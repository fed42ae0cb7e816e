"""The validators that other tests rest on: they take what is right and find what is wrong."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from tests.support.fhir_validators import (
    FHIR,
    code_faults,
    definition_faults,
    faults,
    invariant_faults,
    model_faults,
    schema_faults,
)

USED = {
    "CarePlan",
    "GuidanceResponse",
    "Observation",
    "OperationOutcome",
    "Provenance",
    "Questionnaire",
    "QuestionnaireResponse",
    "ServiceRequest",
    "Task",
}
# An official example with items without link ids, which R4 requires.
BAD_IN_FACT = "Questionnaire-qs1.json"


def test_the_official_examples_are_right(shared_data: Path) -> None:
    """HL7 FHIR R4 4.0.1, package hl7.fhir.r4.examples: every example of the types that are used here."""
    seen = set()
    for file in sorted((shared_data / FHIR / "examples").glob("*.json")):
        example = json.loads(file.read_text(encoding="utf-8"))
        if example["resourceType"] in USED:
            seen.add(example["resourceType"])
            assert (faults(example, shared_data) == []) == (file.name != BAD_IN_FACT), file.name
    assert seen == USED


def test_every_wrong_probe_is_found_by_one_of_them(shared_data: Path) -> None:
    """Hand-made, right and wrong; not official, and only to compare validators."""
    probes = json.loads(
        (shared_data / FHIR / "negative-probes.NOT-OFFICIAL.json").read_text(encoding="utf-8")
    )
    assert len(probes) == 28
    for name, resource in probes:
        right = name.startswith("ok ") or name.endswith(" ok")
        assert (faults(resource, shared_data) == []) == right, name


def test_each_of_them_finds_something_that_all_others_miss(shared_data: Path) -> None:
    probes = json.loads(
        (shared_data / FHIR / "negative-probes.NOT-OFFICIAL.json").read_text(encoding="utf-8")
    )
    alone: set[int] = set()
    for _, resource in probes:
        verdicts = [
            schema_faults(resource, shared_data),
            model_faults(resource) + definition_faults(resource),
            invariant_faults(resource, shared_data),
            code_faults(resource, shared_data),
        ]
        against = [place for place, found in enumerate(verdicts) if found]
        if len(against) == 1:
            alone.add(against[0])
    assert alone == {0, 1, 2, 3}


@pytest.fixture
def coma_scale(shared_data: Path) -> dict[str, Any]:
    file = shared_data / FHIR / "examples" / "Questionnaire-gcs.json"
    found: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return found


def test_the_invariants_of_questionnaires_are_found_broken(
    coma_scale: dict[str, Any], shared_data: Path
) -> None:
    assert invariant_faults(coma_scale, shared_data) == []
    repeated = copy.deepcopy(coma_scale)
    repeated["item"].append(copy.deepcopy(repeated["item"][0]))
    assert "que-2 at Questionnaire" in invariant_faults(repeated, shared_data)
    empty_group = copy.deepcopy(coma_scale)
    empty_group["item"].append({"linkId": "new", "type": "group"})
    assert invariant_faults(empty_group, shared_data) == ["que-1 at Questionnaire.item"]
