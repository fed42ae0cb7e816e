"""Provenance of a decision: valid PROV-JSON by the published schema and by a reference library."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from prov.model import ProvAgent, ProvDocument, ProvEntity

from limbtier.audit.provenance import provenance
from limbtier.domain.caller import Caller
from limbtier.foundation.settings import CHECKOUT
from limbtier.use_cases.decide import ReadyRules
from tests.support.records import decided

NAMES = ("first_contact.json", "both_legs.json", "follow_up.json")


@pytest.mark.parametrize("name", NAMES)
def test_it_is_valid_by_the_schema_of_prov_json(rules: ReadyRules, shared_data: Path, name: str) -> None:
    # JSON Schema of W3C PROV-JSON as published with ProvToolbox.
    schema = json.loads((shared_data / "standards/prov-json/prov-json-schema-v4.json").read_bytes())
    jsonschema.Draft4Validator(schema).validate(_of(rules, name))


@pytest.mark.parametrize("name", NAMES)
def test_the_library_prov_reads_it_and_writes_the_same(rules: ReadyRules, name: str) -> None:
    document = ProvDocument.deserialize(content=json.dumps(_of(rules, name)), format="json")
    again = ProvDocument.deserialize(content=document.serialize(format="json"), format="json")
    assert again == document
    assert len(list(document.get_records(ProvEntity))) > 4
    assert len(list(document.get_records(ProvAgent))) == 3


def test_it_names_the_plan_the_assessment_and_the_outcome(rules: ReadyRules) -> None:
    record = json.loads(decided(rules))
    found = provenance(record)
    [association] = [one for one in found["wasAssociatedWith"].values() if "prov:plan" in one]
    plan = found["entity"][association["prov:plan"]]
    assert plan["limbtier:digest"] == record["edition"]["digest"]
    decision = found["entity"][f"limbtier:decision-{record['id']}"]
    assert decision["limbtier:left_tier"] == record["limbs"]["left"]["tier"]


def test_unusual_letters_in_a_caller_make_a_proper_name(rules: ReadyRules) -> None:
    data = decided(rules, caller=Caller("a key/with:odd letters", "Säntis & sons", frozenset()))
    found = provenance(json.loads(data))
    document = ProvDocument.deserialize(content=json.dumps(found), format="json")
    assert len(list(document.get_records(ProvAgent))) == 3


def _of(rules: ReadyRules, name: str) -> dict[str, Any]:
    return provenance(json.loads(decided(rules, (CHECKOUT / "demo_data" / name).read_bytes())))
