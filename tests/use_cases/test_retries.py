"""A retry is answered by its own decision, for its own caller in its own organisation, or not at all."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import insert

from limbtier.domain.caller import DECIDE, Caller
from limbtier.domain.entry import DecisionIndex, Entry, Retry
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.errors import RetryKeyReused, StoreUnavailable
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from limbtier.store.tables import retries
from limbtier.use_cases.retries import answered_before, retry_of
from tests.support.log_entries import NOON, other_entry

BODY = '{"invented": "é"}'


def caller(client: str = "token:form", organisation: str = "wren") -> Caller:
    return Caller(client, organisation, frozenset({DECIDE}))


def decided(who: Caller, number: int, retry: Retry | None = None) -> Entry:
    """A decision as far as retries look at it."""
    record = {
        "caller": {"id": who.id, "organisation": who.organisation},
        "id": f"decision-{number}",
        "kind": "decision",
        "received": BODY,
    }
    index = DecisionIndex("core-2026.1.0", None, NOON, ())
    return Entry("decision", f"decision-{number}", who.organisation, NOON, canonical(record), index, retry)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[EntryStore]:
    store = EntryStore(open_database(tmp_path / "log.sqlite3"))
    yield store
    store.close()


def claim(store: EntryStore, retry: Retry, position: int) -> None:
    """Say in the database that a retry was answered by the entry at a position."""
    with store.database.writing() as cursor:
        row = (retry.caller, retry.key, retry.payload, position)
        cursor.execute(store.database.text(insert(retries)), row)


def test_the_decision_that_a_key_was_used_for_is_found(store: EntryStore) -> None:
    retry = retry_of(caller(), "k1", BODY.encode())
    entry = decided(caller(), 1, retry)
    assert answered_before(store, retry) is None
    store.append([other_entry(), entry])
    found = answered_before(store, retry)
    assert found is not None
    assert (found.id, found.data) == (entry.id, entry.data)


def test_one_client_in_two_organisations_is_two_callers(store: EntryStore) -> None:
    store.append([decided(caller(), 1, retry_of(caller(), "k1", BODY.encode()))])
    other = caller(organisation="kestrel")
    assert answered_before(store, retry_of(other, "k1", BODY.encode())) is None
    assert answered_before(store, retry_of(other, "k1", b"{}")) is None
    with pytest.raises(RetryKeyReused):
        answered_before(store, retry_of(caller(), "k1", b"{}"))


@pytest.mark.parametrize("position", [0, 1, 2, 9])
def test_what_does_not_answer_the_request_is_never_given(store: EntryStore, position: int) -> None:
    """Another kind of entry, another organisation's decision, another caller's, and none at all."""
    organisations = decided(caller(organisation="kestrel"), 1)
    store.append([other_entry(), organisations, decided(caller("token:other"), 2), decided(caller(), 3)])
    retry = retry_of(caller(), "k1", BODY.encode())
    claim(store, retry, position)
    with pytest.raises(StoreUnavailable, match=f"Entry {position} of the log is not the answer"):
        answered_before(store, retry)


def test_a_decision_of_another_request_is_never_given(store: EntryStore) -> None:
    store.append([decided(caller(), 1)])
    retry = retry_of(caller(), "k1", b"{}")
    assert retry.payload == hashlib.sha256(b"{}").digest()
    claim(store, retry, 0)
    with pytest.raises(StoreUnavailable, match="Entry 0 of the log is not the answer"):
        answered_before(store, retry)
