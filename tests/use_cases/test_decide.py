"""A decision becomes an entry of the log whose data is the answer; a preview is the same answer."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from limbtier.audit.decision_index import recorded_index
from limbtier.domain.caller import Caller
from limbtier.foundation.errors import InvalidAssessment
from limbtier.foundation.settings import CHECKOUT
from limbtier.use_cases.decide import Decider, ReadyRules

FIRST_CONTACT = (CHECKOUT / "demo_data" / "first_contact.json").read_bytes()

CALLER = Caller("somebody", "quillerbeck", frozenset({"decide"}))


def test_a_decision_is_an_entry_whose_data_is_the_answer(rules: ReadyRules) -> None:
    entry = Decider(rules).entry(FIRST_CONTACT, CALLER)
    record = json.loads(entry.data)
    assert (entry.kind, entry.organisation, entry.retry) == ("decision", "quillerbeck", None)
    assert record["id"] == entry.id
    assert record["caller"] == {"id": "somebody", "organisation": "quillerbeck"}
    assert record["received"] == FIRST_CONTACT.decode()  # the request is kept as it came


def test_an_entry_is_found_by_what_the_record_says(rules: ReadyRules) -> None:
    entry = Decider(rules).entry((CHECKOUT / "demo_data" / "both_legs.json").read_bytes(), CALLER)
    record = json.loads(entry.data)
    assert entry.decision is not None
    assert entry.decision.edition == record["edition"]["id"]
    assert entry.decision.episode == json.loads(record["received"])["episode"]
    assert entry.decision.decided_at.isoformat() == record["decided_at"]
    for limb in entry.decision.limbs:
        told = record["limbs"][limb.side]
        assert (limb.tier, limb.disposition) == (told["tier"], told["disposition"])
        assert list(limb.rules) == [reason["rule"] for reason in told["reasons"]]


def test_what_finds_a_decision_can_be_read_from_its_record_again(rules: ReadyRules) -> None:
    decider = Decider(rules)
    lines = (CHECKOUT / "demo_data" / "assessments.jsonl").read_bytes().splitlines()[::10]
    assert len(lines) > 10
    for line in lines:
        entry = decider.entry(line, CALLER)
        assert recorded_index(json.loads(entry.data)) == entry.decision


def test_a_preview_is_the_same_answer_without_id_and_caller(rules: ReadyRules) -> None:
    moment = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
    decider = Decider(rules, clock=lambda: moment)
    preview = json.loads(decider.preview(FIRST_CONTACT))
    decided = json.loads(decider.entry(FIRST_CONTACT, CALLER).data)
    assert preview["id"] is None
    assert {**decided, "id": None, "caller": None, "kind": "preview"} == preview


def test_the_same_assessment_is_decided_the_same_every_time(rules: ReadyRules) -> None:
    decider = Decider(rules, clock=lambda: datetime(2026, 3, 2, 10, 0, tzinfo=UTC))
    assert len({decider.preview(FIRST_CONTACT) for _ in range(20)}) == 1


def test_a_date_outside_the_bank_holiday_lists_is_refused(rules: ReadyRules) -> None:
    late = FIRST_CONTACT.replace(b'"2026-03-02T', b'"2028-12-30T')
    with pytest.raises(InvalidAssessment) as caught:
        Decider(rules).preview(late)
    assert [item.pointer for item in caught.value.diagnostics] == ["/assessed_at"]
    assert caught.value.diagnostics[0].code == "outside-calendar"


def test_a_tier_on_for_longer_than_compression_is_refused(rules: ReadyRules) -> None:
    follow_up = json.loads((CHECKOUT / "demo_data" / "follow_up.json").read_bytes())
    follow_up["limbs"]["left"]["current_tier_since"] = "2025-01-01"
    with pytest.raises(InvalidAssessment) as caught:
        Decider(rules).preview(json.dumps(follow_up).encode())
    assert [(item.code, item.pointer) for item in caught.value.diagnostics] == [
        ("dates-out-of-order", "/limbs/left/current_tier_since")
    ]


def test_a_pending_arrangement_names_the_questions_that_would_settle_it(rules: ReadyRules) -> None:
    contact = json.loads(FIRST_CONTACT)
    del contact["person"]["diabetes"]
    record = json.loads(Decider(rules).preview(json.dumps(contact).encode()))
    entries = record["limbs"]["left"]["arrangements"]
    pending = [entry for entry in entries if entry["state"] == "pending"]
    # Due in 14 days as it is, and in 7 if the answer is yes: both are told.
    assert "full_assessment" in {entry["what"] for entry in pending}
    assert "full_assessment" in {entry["what"] for entry in entries if entry["state"] == "due"}
    for entry in pending:
        assert entry["due_on"] is None
        assert "diabetes" in entry["questions"]
