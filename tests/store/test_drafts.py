"""Keeping drafts and released editions together with their entries, on both databases."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from limbtier.domain.draft import Draft, ReleasedEdition
from limbtier.domain.entry import Also, Entry
from limbtier.foundation.errors import StoreUnavailable
from limbtier.store.database import Database
from limbtier.store.drafts import DraftTable, EditionTable, Listing, Overtaken
from limbtier.store.entries import EntryStore
from limbtier.store.faults import Conflict
from tests.support.log_entries import NOON, other_entry

EDITION, OURS, THEIRS = "larchmere-2026.1.0", "quillerbeck", "another"
DIGEST = f"sha256:{'1' * 64}"
FILES = {"edition.yaml": "edition: larchmere\n", "rules/local.yaml": "# ä\n"}
DRAFT = Draft(EDITION, OURS, 1, "draft", DIGEST, ("key:1", "token:a b"), NOON)
RELEASED = ReleasedEdition(EDITION, OURS, DIGEST, NOON, FILES)
NOTHING = Listing((), frozenset())
NO_FRAME = {True: "UPDATE drafts SET files = X'00'", False: r"UPDATE drafts SET files = '\x00'"}


def keep(store: EntryStore, also: Also) -> Entry:
    entry = replace(other_entry(), also=also)
    store.append([entry])
    return entry


def test_a_draft_comes_back_as_it_was_put_together_with_its_entry(store: EntryStore) -> None:
    table = DraftTable(store.database)
    entry = keep(store, table.putting(None, DRAFT, FILES))
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
    keep(store, table.putting(DRAFT, proved, {"CHANGES.md": ""}))
    assert table.find(OURS, EDITION) == (proved, {"CHANGES.md": ""})
    assert table.all(OURS) == [proved]


def test_a_draft_is_there_for_its_organisation_only(store: EntryStore) -> None:
    table = DraftTable(store.database)
    keep(store, table.putting(None, DRAFT, FILES))
    assert (table.find(THEIRS, EDITION), table.all(THEIRS)) == (None, [])
    theirs = replace(DRAFT, organisation=THEIRS)
    keep(store, table.putting(None, theirs, {"edition.yaml": ""}))
    assert table.find(OURS, EDITION) == (DRAFT, FILES)
    assert table.find(THEIRS, EDITION) == (theirs, {"edition.yaml": ""})


def test_of_a_discarded_draft_only_the_files_go(store: EntryStore) -> None:
    table = DraftTable(store.database)
    discarded = replace(DRAFT, state="discarded")
    keep(store, table.putting(None, DRAFT, FILES))
    keep(store, table.putting(DRAFT, discarded, FILES))
    assert table.find(OURS, EDITION) == (discarded, {})
    assert table.all(OURS) == []


@pytest.mark.parametrize("before", [None, replace(DRAFT, revision=2), replace(DRAFT, approver="key:2")])
def test_a_draft_that_is_not_as_it_was_seen_stays(store: EntryStore, before: Draft | None) -> None:
    table = DraftTable(store.database)
    keep(store, table.putting(None, DRAFT, FILES))
    with pytest.raises(Overtaken):
        keep(store, table.putting(before, replace(DRAFT, revision=3), {}))
    assert table.find(OURS, EDITION) == (DRAFT, FILES)
    assert store.head().size == 1


def test_rows_without_their_entry_are_not_kept(store: EntryStore) -> None:
    taken = other_entry()
    store.append([taken])
    drafts, editions = DraftTable(store.database), EditionTable(store.database)
    for also in (
        drafts.putting(None, DRAFT, FILES),
        editions.releasing(NOTHING, RELEASED),
        editions.retiring(NOTHING, EDITION, NOON),
    ):
        with pytest.raises(Conflict):
            store.append([replace(taken, also=also)])
    assert drafts.find(OURS, EDITION) is None
    assert editions.listing() == NOTHING
    assert store.head().size == 1


def test_a_released_edition_is_kept_as_it_was(store: EntryStore) -> None:
    table = EditionTable(store.database)
    keep(store, table.releasing(NOTHING, RELEASED))
    listing = table.listing()
    assert listing == Listing((replace(RELEASED, files=None),), frozenset())
    assert table.with_files(EDITION) == RELEASED
    assert table.with_files("core-2026.1.0") is None
    with pytest.raises(Conflict):
        keep(store, table.releasing(listing, replace(RELEASED, digest="other")))
    assert table.with_files(EDITION) == RELEASED


def test_an_edition_is_retired_once(store: EntryStore) -> None:
    table = EditionTable(store.database)
    keep(store, table.retiring(NOTHING, EDITION, NOON))
    assert table.listing() == Listing((), frozenset({EDITION}))
    with pytest.raises(Conflict):
        keep(store, table.retiring(table.listing(), EDITION, NOON))


Change = Callable[[EditionTable], Also]


@pytest.mark.parametrize(
    "change",
    [
        lambda table: table.releasing(NOTHING, replace(RELEASED, edition="larchmere-2026.2.0")),
        lambda table: table.retiring(NOTHING, "core-2026.1.0", NOON),
    ],
)
def test_whoever_did_not_see_the_last_release_or_retirement_is_overtaken(
    store: EntryStore, change: Change
) -> None:
    table = EditionTable(store.database)
    keep(store, table.releasing(NOTHING, RELEASED))
    with pytest.raises(Overtaken):
        keep(store, change(table))
    assert table.listing() == Listing((replace(RELEASED, files=None),), frozenset())
    assert store.head().size == 1


def test_the_moment_of_the_last_entry_is_known(store: EntryStore) -> None:
    assert store.last_at() is None
    store.append([replace(other_entry(), at=NOON + timedelta(hours=1)), other_entry()])
    assert store.last_at() == NOON
    store.append([replace(other_entry(), at=NOON + timedelta(hours=1))])
    assert store.last_at() == NOON + timedelta(hours=1)


def test_files_that_cannot_be_read_any_more_are_told(database: Database) -> None:
    store, table = EntryStore(database), DraftTable(database)
    keep(store, table.putting(None, DRAFT, FILES))
    with database.writing() as cursor:
        cursor.execute(NO_FRAME[database.is_sqlite])
    with pytest.raises(StoreUnavailable, match=f"kept of the edition {EDITION} cannot be read"):
        table.find(OURS, EDITION)
