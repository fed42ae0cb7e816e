"""A record is canonical JSON, so that the bytes answered can be hashed as they are."""

from __future__ import annotations

import json

import rfc8785

from limbtier.foundation.settings import CHECKOUT
from limbtier.use_cases.decide import Decider, ReadyRules

COHORT = (CHECKOUT / "demo_data" / "assessments.jsonl").read_bytes().splitlines()


def test_every_record_of_the_demo_cohort_is_canonical_json_by_a_reference_library(rules: ReadyRules) -> None:
    decider = Decider(rules)
    for line in COHORT[::10]:
        record = decider.preview(line)
        assert rfc8785.dumps(json.loads(record)) == record


def test_text_of_any_script_and_control_letters_in_the_request_stay_canonical(rules: ReadyRules) -> None:
    contact = json.loads((CHECKOUT / "demo_data" / "first_contact.json").read_bytes())
    body = json.dumps(contact, ensure_ascii=False, indent="\t").replace("{", "{\n\r ", 1)
    record = Decider(rules).preview(body.encode())
    assert rfc8785.dumps(json.loads(record)) == record
    assert json.loads(record)["received"] == body
