"""An episode is kept together with the entry that changes it, and never folded onto what it no longer is."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from limbtier.domain.due_reviews import AttentionDays
from limbtier.domain.entry import Entry
from limbtier.domain.episode_fold import fold, refold
from limbtier.store.database import Database
from limbtier.store.entries import EntryStore
from limbtier.store.episodes import EpisodeChange, EpisodeMoved, EpisodeTable, FoundPart, RebuiltEpisode
from tests.support.episodes import KEEPING, PartMaker, episode
from tests.support.log_entries import other_entry


def _append(store: EntryStore, table: EpisodeTable, change: EpisodeChange) -> int:
    return store.append([_entry(table, change)])[0]


def _entry(table: EpisodeTable, change: EpisodeChange) -> Entry:
    return replace(other_entry(entry_id=change.part.id), also=table.changing(change))


def _changes(seed: int, count: int) -> list[EpisodeChange]:
    state = None
    found = []
    for number, part in enumerate(episode(seed, count)):
        state = fold(state, part, KEEPING)
        assert state is not None
        found.append(
            EpisodeChange("quillerbeck", "EP-1", number - 1 if number else None, part, state, AttentionDays())
        )
    return found


def test_what_was_kept_is_found_again(database: Database, store: EntryStore) -> None:
    table = EpisodeTable(database)
    changes = _changes(3, 5)
    for change in changes:
        _append(store, table, change)
    found = table.find("quillerbeck", "EP-1")
    assert found is not None
    assert (found.last_position, found.state) == (5, changes[-1].state)
    parts = table.parts("quillerbeck", "EP-1")
    assert parts == [FoundPart(place, change.part) for place, change in enumerate(changes)]
    assert table.newest_parts("quillerbeck", "EP-1", 2) == (parts[:3:-1], 6)
    assert table.part("quillerbeck", "EP-1", changes[2].part.id) == parts[2]
    assert table.find("others", "EP-1") is None
    assert table.part("others", "EP-1", changes[2].part.id) is None


def test_an_episode_that_moved_takes_neither_the_part_nor_the_entry(
    database: Database, store: EntryStore
) -> None:
    table = EpisodeTable(database)
    first, second = _changes(3, 1)
    _append(store, table, first)
    for stale in (replace(second, after=None), replace(second, after=7)):
        with pytest.raises(EpisodeMoved):
            _append(store, table, stale)
    assert store.head().size == 1
    assert len(table.parts("quillerbeck", "EP-1")) == 1
    assert _append(store, table, second) == 1


def test_two_parts_of_one_batch_do_not_both_follow_the_same_part(
    database: Database, store: EntryStore
) -> None:
    table = EpisodeTable(database)
    first, second = _changes(3, 1)
    with pytest.raises(EpisodeMoved):
        store.append([_entry(table, first), _entry(table, replace(second, after=None))])
    assert table.find("quillerbeck", "EP-1") is None


def test_episodes_worked_out_anew_replace_all_that_were_kept(database: Database, store: EntryStore) -> None:
    table = EpisodeTable(database)
    for change in _changes(3, 2):
        _append(store, table, change)
    maker = PartMaker(9)
    contact = maker.contact(_changes(3, 0)[0].part.at + timedelta(days=1))
    state = refold([contact], KEEPING)
    assert state is not None
    rebuilt = RebuiltEpisode("quillerbeck", "EP-2", state, [FoundPart(1, contact)], AttentionDays())
    assert table.replace_all([rebuilt]) == 1
    assert table.find("quillerbeck", "EP-1") is None
    assert table.find("quillerbeck", "EP-2") == (1, state)
