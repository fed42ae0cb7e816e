"""Keeping drafts and released editions together with their entries, on both databases."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from limbtier.domain.draft import Draft, ReleasedEdition
from limbtier.domain.entry import Entry
from limbtier.foundation.errors import StoreUnavailable
from limbtier.store.database import Database
from limbtier.store.drafts import DraftTable, EditionTable
from limbtier.store.entries import EntryStore
from limbtier.store.faults import Conflict
from limbtier.store.locked_log import LockedLog
from tests.support.log_entries import NOON, other_entry

EDITION, OURS, THEIRS = "larchmere-2026.1.0", "quillerbeck", "another"
DIGEST = f"sha256:{'1' * 64}"
FILES = {"edition.yaml": "edition: larchmere\n", "rules/local.yaml": "# ä\n"}
NO_FRAME = {True: "UPDATE drafts SET files = X'00'", False: r"UPDATE drafts SET files = '\x00'"}
DRAFT = Draft(EDITION, OURS, 1, "draft", DIGEST, ("key:1", "token:a b"), NOON)


class Stopped(Exception):
    """What a test raises in the middle."""


def put(store: EntryStore, draft: Draft, files: dict[str, str]) -> Entry:
    def change(log: LockedLog) -> Entry:
        DraftTable(store.database).put(log.cursor, draft, files)
        return other_entry()

    return store.append_beside(change)


def test_a_draft_comes_back_as_it_was_put_together_with_its_entry(store: EntryStore) -> None:
    table = DraftTable(store.database)
    entry = put(store, DRAFT, FILES)
    assert table.find(OURS, EDITION) == (DRAFT, FILES)
    assert store.entry_by_id(entry.id) is not None
    proved = replace(
        DRAFT,
        revision=2,
        state="proved",
        judged=(DIGEST, f"sha256:{'2' * 64}"),
        approver="key:2",
        check=b'{"errors":0}',
        proof=b"{}",
    )
    put(store, proved, {})
    assert table.find(OURS, EDITION) == (proved, {})
    assert table.all(OURS) == [proved]
    assert store.head().size == 2


def test_a_draft_is_there_for_its_organisation_only(store: EntryStore) -> None:
    table = DraftTable(store.database)
    put(store, DRAFT, FILES)
    assert (table.find(THEIRS, EDITION), table.all(THEIRS)) == (None, [])
    theirs = replace(DRAFT, organisation=THEIRS)
    put(store, theirs, {"edition.yaml": ""})
    assert table.find(OURS, EDITION) == (DRAFT, FILES)
    assert table.find(THEIRS, EDITION) == (theirs, {"edition.yaml": ""})


def test_of_a_discarded_draft_only_revision_and_savers_stay(store: EntryStore) -> None:
    table = DraftTable(store.database)
    put(store, DRAFT, FILES)

    def discard(log: LockedLog) -> Entry:
        table.discard(log.cursor, DRAFT)
        assert table.find_now(log.cursor, OURS, EDITION) is None
        assert table.earlier(log.cursor, OURS, EDITION) == (1, DRAFT.savers)
        assert table.earlier(log.cursor, THEIRS, EDITION) == (0, ())
        return other_entry()

    store.append_beside(discard)
    assert table.find(OURS, EDITION) is None
    assert table.all(OURS) == []


@pytest.mark.parametrize("at", ["before the entry", "with an entry that is there"])
def test_rows_without_their_entry_are_not_kept(store: EntryStore, at: str) -> None:
    taken = other_entry()
    store.append([taken])
    tables = DraftTable(store.database), EditionTable(store.database)

    def change(log: LockedLog) -> Entry:
        tables[0].put(log.cursor, DRAFT, FILES)
        tables[1].release(log.cursor, ReleasedEdition(EDITION, OURS, DIGEST, NOON, FILES))
        tables[1].retire(log.cursor, EDITION, NOON)
        if at == "before the entry":
            raise Stopped
        return taken

    with pytest.raises(Stopped if at == "before the entry" else Conflict):
        store.append_beside(change)
    assert tables[0].find(OURS, EDITION) is None
    assert (tables[1].released(), tables[1].retired()) == ([], frozenset())
    assert store.head().size == 1
    store.append([other_entry()])  # and the log takes further entries


def test_a_released_edition_is_kept_once_and_as_it_was(store: EntryStore) -> None:
    table = EditionTable(store.database)
    one = ReleasedEdition(EDITION, OURS, DIGEST, NOON, FILES)

    def release(edition: ReleasedEdition) -> Entry:
        def change(log: LockedLog) -> Entry:
            table.release(log.cursor, edition)
            assert [found.edition for found in table.released_now(log.cursor)] == [EDITION]
            return other_entry()

        return store.append_beside(change)

    release(one)
    assert table.released() == [replace(one, files=None)]
    assert table.with_files(EDITION) == one
    assert table.with_files("core-2026.1.0") is None
    with pytest.raises(Conflict):
        release(replace(one, digest="other"))
    assert table.with_files(EDITION) == one


def test_an_edition_is_retired_once(store: EntryStore) -> None:
    table = EditionTable(store.database)

    def retire(log: LockedLog) -> Entry:
        table.retire(log.cursor, EDITION, NOON)
        assert table.retired_now(log.cursor) == {EDITION}
        return other_entry()

    store.append_beside(retire)
    assert table.retired() == {EDITION}
    with pytest.raises(Conflict):
        store.append_beside(retire)


def test_the_moment_of_the_last_entry_is_known(store: EntryStore) -> None:
    found = []

    def change(log: LockedLog) -> Entry:
        found.append(log.last_at())
        return replace(other_entry(), at=NOON + timedelta(hours=1))

    store.append_beside(change)
    store.append_beside(change)
    assert found == [None, NOON + timedelta(hours=1)]


def test_files_that_cannot_be_read_any_more_are_told(database: Database) -> None:
    store, table = EntryStore(database), DraftTable(database)
    put(store, DRAFT, FILES)
    with database.writing() as cursor:
        cursor.execute(NO_FRAME[database.is_sqlite])
    with pytest.raises(StoreUnavailable, match=f"kept of the edition {EDITION} cannot be read"):
        table.find(OURS, EDITION)
