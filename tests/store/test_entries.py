"""Appending to the log and reading it, on both databases."""

from __future__ import annotations

import threading
from dataclasses import replace

import pytest
from sqlalchemy import bindparam, select, update

from limbtier.domain.entry import DecisionFilter
from limbtier.foundation.errors import StoreUnavailable
from limbtier.foundation.merkle import Frontier, complete_subtrees, leaf_hash
from limbtier.store.database import Cursor, Database
from limbtier.store.entries import EntryStore, RetryKeyTaken
from limbtier.store.faults import Busy, Conflict
from limbtier.store.opening import open_database
from limbtier.store.tables import entries, keys
from tests.support.log_entries import decision_entry, other_entry


def test_entries_stand_at_dense_positions_with_the_bytes_they_were_given(store: EntryStore) -> None:
    batches = [[other_entry(0)], [decision_entry(1), other_entry(2), decision_entry(3)], [decision_entry(4)]]
    positions = [store.append(batch) for batch in batches]
    assert positions == [[0], [1, 2, 3], [4]]
    given = [entry for batch in batches for entry in batch]
    kept = list(store.entries_from(0, 5))
    assert [(one.position, one.id, one.kind, one.organisation, one.data) for one in kept] == [
        (position, entry.id, entry.kind, entry.organisation, entry.data)
        for position, entry in enumerate(given)
    ]
    assert store.extent() == (5, 0, 4)
    assert store.entry(2) == kept[2] == store.entry_by_id(given[2].id)
    assert store.entry(5) is None
    assert store.entry_by_id("unknown") is None
    assert [one.position for one in store.entries_from(3, 5)] == [3, 4]


def test_the_hashes_kept_are_those_of_the_tree_over_the_entries(store: EntryStore) -> None:
    frontier, wanted = Frontier(), {}
    for start in range(0, 150, 30):
        batch = [other_entry(start + number) for number in range(30)]
        store.append(batch)
        for entry in batch:
            wanted.update(
                {(level, index): found for level, index, found in frontier.add(leaf_hash(entry.data))}
            )
    head = store.head()
    assert (head.size, head.peaks, head.root()) == (150, frontier.peaks, frontier.root())
    assert store.read_hashes(list(wanted)) == list(wanted.values())
    assert store.read_hashes([]) == []
    assert store.last_hash_number() == complete_subtrees(150) - 1


def test_who_does_not_want_to_wait_is_told_that_somebody_else_writes(address: str) -> None:
    mine, other = EntryStore(open_database(address)), EntryStore(open_database(address))
    for one in (mine, other):
        one.append([other_entry()])
    with other.locked() as log:
        log.append([other_entry()])
        with pytest.raises(Busy):
            mine.append([other_entry()], wait=False)
    assert mine.head().size == 3
    if mine.database.is_sqlite:  # of PostgreSQL it is never known
        assert mine.append([other_entry()], wait=False) == [3]
    else:
        with pytest.raises(Busy):
            mine.append([other_entry()], wait=False)
    assert mine.append([other_entry()]) == [mine.head().size - 1]
    mine.close()
    other.close()


def test_an_empty_log_is_empty(store: EntryStore) -> None:
    assert store.head().size == 0
    assert store.extent() == (0, None, None)
    assert store.last_hash_number() is None
    assert list(store.entries_from(0, 0)) == []
    assert store.last_checkpoint() is None
    assert store.append([]) == []


def test_a_retry_key_finds_where_its_answer_stands(store: EntryStore) -> None:
    store.append([other_entry(), decision_entry(key="k1", payload=b"1" * 32)])
    found = store.find_retry("caller-1", "k1")
    assert found is not None
    assert (found.position, found.payload) == (1, b"1" * 32)
    assert store.find_retry("caller-2", "k1") is None
    assert store.find_retry("caller-1", "k2") is None


def test_a_retry_key_that_was_used_stops_the_whole_batch(store: EntryStore) -> None:
    store.append([decision_entry(key="k1")])
    again, fresh = decision_entry(key="k1"), decision_entry(key="k2")
    with pytest.raises(RetryKeyTaken) as caught:
        store.append([fresh, again])
    assert caught.value.taken == (again.retry,)
    assert store.head().size == store.extent()[0] == 1
    assert store.find_retry("caller-1", "k2") is None
    assert store.append([fresh]) == [1]


def test_a_retry_key_twice_in_a_batch_is_refused(store: EntryStore) -> None:
    with pytest.raises(RetryKeyTaken) as caught:
        store.append([decision_entry(key="k1"), decision_entry(key="k2"), decision_entry(key="k1")])
    assert [retry.key for retry in caught.value.taken] == ["k1", "k1"]
    assert store.extent()[0] == 0


def test_an_id_that_is_there_is_refused(store: EntryStore) -> None:
    entry = other_entry()
    store.append([entry])
    with pytest.raises(Conflict, match="An entry with this id is in the log already"):
        store.append([other_entry(), replace(entry, data=b"{}")])
    assert store.extent() == (1, 0, 0)


def test_a_transaction_that_fails_half_way_leaves_nothing(store: EntryStore) -> None:
    with pytest.raises(ZeroDivisionError), store.locked() as log:  # noqa: PT012 - what happens inside matters
        log.append([decision_entry(1)])
        raise ZeroDivisionError
    assert store.extent()[0] == store.head().size == 0
    assert store.append([decision_entry(2)]) == [0]
    assert len(store.find_decisions(DecisionFilter("quillerbeck", tier="mild"), None, 9)) == 1


def test_what_changes_with_an_entry_is_kept_with_it(store: EntryStore) -> None:
    seen: list[int] = []

    def also(cursor: Cursor, position: int) -> None:
        seen.append(position)
        mark(store, cursor, "with")

    assert store.append([other_entry(), replace(other_entry(), also=also)]) == [0, 1]
    assert seen == [1]
    assert marks(store) == ["with"]


def test_neither_an_entry_nor_what_changes_with_it_is_kept_when_either_fails(store: EntryStore) -> None:
    def fails(cursor: Cursor, _position: int) -> None:
        mark(store, cursor, "fails")
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        store.append([other_entry(), replace(other_entry(), also=fails)])
    known = other_entry()
    store.append([known])
    with pytest.raises(Conflict):
        store.append([replace(known, also=lambda cursor, _position: mark(store, cursor, "known"))])
    twice = replace(other_entry(), also=lambda cursor, _position: mark(store, cursor, "x"))
    with pytest.raises(Conflict):
        store.append([twice, twice])
    assert (store.extent()[0], store.head().size, marks(store)) == (1, 1, [])
    assert store.append([twice]) == [1]
    assert marks(store) == ["x"]


def mark(store: EntryStore, cursor: Cursor, name: str) -> None:
    row = (name, b"h" * 32, "quillerbeck", "auditor", "audit", 0, None)
    store.database.insert(cursor, keys, [row])


def marks(store: EntryStore) -> list[str]:
    return [row[0] for row in store.database.rows(store.database.text(select(keys.c.id)))]


def test_threads_append_without_gaps(store: EntryStore) -> None:
    positions: list[int] = []

    def work() -> None:
        for _ in range(15):
            positions.extend(store.append([decision_entry(), other_entry()]))

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(positions) == list(range(120))
    assert store.extent() == (120, 0, 119)


def test_two_connections_append_to_one_log(store: EntryStore, address: str) -> None:
    other = EntryStore(open_database(address))
    try:
        positions = [one.append([decision_entry(number)])[0] for number in range(6) for one in (store, other)]
        assert positions == list(range(12))
        assert other.head().root() == store.head().root()
    finally:
        other.close()


def test_a_log_that_became_shorter_takes_nothing_more(store: EntryStore) -> None:
    store.append([other_entry(), other_entry()])
    with store.database.writing() as cursor:
        cursor.execute("DELETE FROM entries")
        cursor.execute("DELETE FROM hashes")
        cursor.execute("UPDATE log_head SET size = 0, peaks = ''")
    with pytest.raises(
        StoreUnavailable, match="The log had 2 entries and now has 0: its database was replaced"
    ):
        store.append([other_entry()])
    assert store.extent()[0] == 0


@pytest.mark.parametrize("value", [b"{}", "{}"])
def test_an_entry_whose_bytes_changed_is_not_given(store: EntryStore, value: object) -> None:
    if not store.database.is_sqlite and not isinstance(value, bytes):
        pytest.skip("PostgreSQL keeps to the types of columns by itself")
    entry = other_entry()
    store.append([entry])
    with store.database.writing() as cursor:
        cursor.execute(store.database.text(update(entries).values(data=bindparam("value"))), (value,))
    with pytest.raises(StoreUnavailable, match="Entry 0 of the log is not as it was appended"):
        store.entry(0)
    with pytest.raises(StoreUnavailable, match="Entry 0 of the log is not as it was appended"):
        store.entry_by_id(entry.id)


def test_a_missing_entry_or_hash_is_named(store: EntryStore) -> None:
    store.append([other_entry(number) for number in range(5)])
    with store.database.writing() as cursor:
        cursor.execute("DELETE FROM entries WHERE position = 3")
        cursor.execute("DELETE FROM hashes WHERE number = 2")
    with pytest.raises(StoreUnavailable, match="Entry 3 of the log is missing"):
        list(store.entries_from(0, 5))
    with pytest.raises(StoreUnavailable, match="A hash of the log is missing: that of level 1, index 0"):
        store.read_hashes([(0, 0), (1, 0)])


def test_entries_of_a_kind_are_found_by_the_index_of_what_is_no_decision(database: Database) -> None:
    store = EntryStore(database)
    kinds = ["decision", "card_feedback", "act_refused", "card_feedback"]
    store.append([replace(other_entry(), kind=kind, organisation="quillerbeck") for kind in kinds])
    store.append([replace(other_entry(), kind="card_feedback", organisation="threllmere")])
    assert [one.position for one in store.entries_of_kind("card_feedback", "quillerbeck")] == [1, 3]
    assert store.entries_of_kind("card_feedback", "nobody") == []
    if database.is_sqlite:
        plan = database.rows(f"EXPLAIN QUERY PLAN {store._of_kind}", "card_feedback", "quillerbeck")
        assert "entries_of_kind" in plan[0][-1]
