"""A decision is stored before it is given; what cannot be stored is not given."""

from __future__ import annotations

import json
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import pytest

from limbtier.domain.caller import Caller
from limbtier.foundation.errors import InvalidAssessment, StoreUnavailable
from limbtier.foundation.settings import CHECKOUT
from limbtier.store.decisions import DecisionStore
from limbtier.use_cases.decide import Decider, ReadyRules

FIRST_CONTACT = (CHECKOUT / "demo_data" / "first_contact.json").read_bytes()

CALLER = Caller("somebody", "quillerbeck", frozenset({"decide"}))


@pytest.fixture
def store(tmp_path: Path) -> DecisionStore:
    return DecisionStore(tmp_path / "decisions.sqlite3")


def test_a_decision_is_stored_byte_for_byte_as_it_was_given(rules: ReadyRules, store: DecisionStore) -> None:
    decision_id, record = Decider(rules, store).decide(FIRST_CONTACT, CALLER)
    assert store.read(decision_id) == record
    assert json.loads(record)["id"] == decision_id
    assert json.loads(record)["received"] == FIRST_CONTACT.decode()  # the request is kept as it came


def test_a_preview_is_the_same_answer_without_an_id_and_stores_nothing(
    rules: ReadyRules, store: DecisionStore
) -> None:
    moment = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
    decider = Decider(rules, store, clock=lambda: moment)
    preview = json.loads(decider.preview(FIRST_CONTACT))
    assert store.count() == 0
    decided = json.loads(decider.decide(FIRST_CONTACT, CALLER)[1])
    assert preview["id"] is None
    assert {**decided, "id": None, "caller": None, "kind": "preview"} == preview


def test_the_same_assessment_is_decided_the_same_every_time(rules: ReadyRules) -> None:
    decider = Decider(rules, store=None, clock=lambda: datetime(2026, 3, 2, 10, 0, tzinfo=UTC))
    assert len({decider.preview(FIRST_CONTACT) for _ in range(20)}) == 1


def test_a_decision_that_cannot_be_stored_is_not_given(
    rules: ReadyRules, store: DecisionStore, tmp_path: Path
) -> None:
    with sqlite3.connect(tmp_path / "decisions.sqlite3") as other:
        other.execute("DROP TABLE decisions")
    with pytest.raises(StoreUnavailable) as caught:
        Decider(rules, store).decide(FIRST_CONTACT, CALLER)
    assert "Nothing was decided" in caught.value.diagnostics[0].help


def test_a_bad_assessment_stores_nothing(rules: ReadyRules, store: DecisionStore) -> None:
    wrong = FIRST_CONTACT.replace(b'"calendar": "england"', b'"calendar": "france"')
    with pytest.raises(InvalidAssessment):
        Decider(rules, store).decide(wrong, CALLER)
    assert store.count() == 0


def test_a_database_that_is_none_is_refused_at_the_start(tmp_path: Path) -> None:
    file = tmp_path / "decisions.sqlite3"
    file.write_bytes(b"this is no database" * 100)
    with pytest.raises(StoreUnavailable):
        DecisionStore(file)


def test_a_date_outside_the_bank_holiday_lists_is_refused(rules: ReadyRules) -> None:
    late = FIRST_CONTACT.replace(b'"2026-03-02T', b'"2028-12-30T')
    with pytest.raises(InvalidAssessment) as caught:
        Decider(rules, store=None).preview(late)
    assert [item.pointer for item in caught.value.diagnostics] == ["/assessed_at"]
    assert caught.value.diagnostics[0].code == "outside-calendar"


def test_everything_stored_survives_a_new_start(rules: ReadyRules, tmp_path: Path) -> None:
    file = tmp_path / "decisions.sqlite3"
    first = DecisionStore(file)
    decision_id, record = Decider(rules, first).decide(FIRST_CONTACT, CALLER)
    first.close()
    assert DecisionStore(file).read(decision_id) == record


def test_a_tier_on_for_longer_than_compression_is_refused(rules: ReadyRules) -> None:
    follow_up = json.loads((CHECKOUT / "demo_data" / "follow_up.json").read_bytes())
    follow_up["limbs"]["left"]["current_tier_since"] = "2025-01-01"
    with pytest.raises(InvalidAssessment) as caught:
        Decider(rules, store=None).preview(json.dumps(follow_up).encode())
    assert [(item.code, item.pointer) for item in caught.value.diagnostics] == [
        ("dates-out-of-order", "/limbs/left/current_tier_since")
    ]


def test_a_pending_arrangement_names_the_questions_that_would_settle_it(rules: ReadyRules) -> None:
    contact = json.loads(FIRST_CONTACT)
    del contact["person"]["diabetes"]
    record = json.loads(Decider(rules, store=None).preview(json.dumps(contact).encode()))
    entries = record["limbs"]["left"]["arrangements"]
    pending = [entry for entry in entries if entry["state"] == "pending"]
    # Due in 14 days as it is, and in 7 if the answer is yes: both are told.
    assert "full_assessment" in {entry["what"] for entry in pending}
    assert "full_assessment" in {entry["what"] for entry in entries if entry["state"] == "due"}
    for entry in pending:
        assert entry["due_on"] is None
        assert "diabetes" in entry["questions"]
