"""Whatever is changed in the rows that decisions are found by is noticed, and made anew from the entries."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import orjson
import pytest

from limbtier.audit.backup import back_up, restore
from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.decision_index import compare_index, recorded_index
from limbtier.audit.log import Log
from limbtier.domain.entry import DecidedLimb, DecisionFilter, FoundDecision
from limbtier.foundation.errors import StoreUnavailable
from limbtier.store import search, search_index
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from tests.support.log_entries import NOON, decision_entry, other_entry

ORIGIN = "log.invalid/quillerbeck"
OURS = DecisionFilter("quillerbeck")
LEGS = (DecidedLimb("left", "mild", "start", ("wet-review",)), DecidedLimb("right", "strong", "start"))


@pytest.fixture
def log(address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Log]:
    """Return a log of 20 entries in blocks of 8; those at 0 and 10 are no decisions."""
    for module in (search, search_index):
        monkeypatch.setattr(module, "BLOCK_BITS", 3)
    log = Log(EntryStore(open_database(address)), KeyFolder(tmp_path / "keys"), ORIGIN)
    log.store.append(
        [
            decision_entry(number, episode=f"episode-{number % 3}", limbs=LEGS)
            if number % 10
            else other_entry()
            for number in range(20)
        ]
    )
    yield log
    log.close()


def execute(log: Log, statement: str) -> None:
    with log.store.database.writing() as cursor:
        cursor.execute(statement)


def found(log: Log, wanted: DecisionFilter = OURS) -> list[FoundDecision]:
    return list(log.store.find_decisions(wanted, None, 2000))


CHANGES = {
    "another tier": "UPDATE decided_limbs SET tier = 'none' WHERE position = 19 AND side = 'left'",
    "another rule": "UPDATE decided_limbs SET rules = ' late ' WHERE position = 19 AND side = 'left'",
    "a leg removed": "DELETE FROM decided_limbs WHERE position = 19 AND side = 'left'",
    "a leg added": "UPDATE decided_limbs SET side = 'both' WHERE position = 19 AND side = 'left'",
    "another edition": "UPDATE decisions SET edition = 'core-2025.1.0' WHERE position = 19",
    "another episode": "UPDATE decisions SET episode = 'episode-9' WHERE position = 19",
    "another moment": "UPDATE decisions SET decided_at = decided_at + 1 WHERE position = 19",
    "another id": "UPDATE decisions SET id = 'x' WHERE position = 19",
}
HIDDEN = {
    "a row removed": "DELETE FROM decisions WHERE position = 19",
    "another's": "UPDATE decisions SET organisation = 'elsewhere' WHERE position = 19",
    "a place that is no decision": "INSERT INTO decisions SELECT 10, 'x', organisation, edition, episode, "
    "decided_at FROM decisions WHERE position = 19",
    "a property removed": "DELETE FROM decision_blocks WHERE property = 'rule' AND block = 0",
    "a property added": "INSERT INTO decision_blocks SELECT organisation, property, 'late', tier, "
    "disposition, block FROM decision_blocks WHERE property = 'rule' AND block = 0",
    "a place outside": "INSERT INTO decisions SELECT 20, 'x', organisation, edition, episode, decided_at "
    "FROM decisions WHERE position = 19",
    "a leg outside": "INSERT INTO decided_limbs SELECT -1, side, tier, disposition, rules "
    "FROM decided_limbs WHERE position = 19 AND side = 'left'",
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_list_never_shows_what_the_entry_does_not_say(log: Log, change: str) -> None:
    assert len(log.find_decisions(OURS, None, 9)) == 9
    execute(log, CHANGES[change])
    with pytest.raises(StoreUnavailable, match=r"position 19 is not found by what.*\n.*rebuild-index"):
        log.find_decisions(OURS, None, 9)
    assert len(log.find_decisions(OURS, 19, 9)) == 9


def test_a_list_never_shows_another_organisations_decision_as_ones_own(log: Log) -> None:
    execute(log, HIDDEN["another's"])
    with pytest.raises(StoreUnavailable, match=r"position 19 is not found by what its entry"):
        log.find_decisions(DecisionFilter("elsewhere"), None, 20)


def test_a_list_never_shows_an_entry_that_is_altered_or_missing(log: Log) -> None:
    execute(log, "UPDATE entries SET data = (SELECT data FROM entries WHERE position = 1) WHERE position = 9")
    with pytest.raises(StoreUnavailable, match="Entry 9 of the log is not as it was appended"):
        log.find_decisions(OURS, 11, 20)
    execute(log, "DELETE FROM entries WHERE position = 9")
    with pytest.raises(StoreUnavailable, match="Entry 9 of the log is missing"):
        log.find_decisions(OURS, 11, 20)


@pytest.mark.parametrize("change", [*CHANGES, *HIDDEN])
def test_every_change_is_noticed_and_put_right_from_the_entries(log: Log, change: str) -> None:
    before = found(log)
    assert not compare_index(log.store)
    execute(log, {**CHANGES, **HIDDEN}[change])
    noticed = compare_index(log.store)
    assert noticed
    assert noticed.count + noticed.outside == 1
    assert str(noticed)
    assert str(compare_index(log.store, repair=True)) == str(noticed)
    assert not compare_index(log.store)
    assert found(log) == before
    assert len(found(log, DecisionFilter("quillerbeck", rule="wet-review"))) == 18
    log.append(decision_entry(20))
    assert not compare_index(log.store)
    assert found(log)[0].position == 20


def test_an_index_that_is_gone_is_made_anew(log: Log) -> None:
    before = found(log)
    for table in ("decisions", "decided_limbs", "decision_blocks"):
        execute(log, f"DELETE FROM {table}")  # noqa: S608 - names of tables
    noticed = compare_index(log.store, repair=True)
    assert (noticed.count, noticed.positions) == (18, [1, 2, 3, 4, 5, 6, 7, 8, 9, 11])
    assert "18, at position 1, 2, 3, 4, 5, 6, 7, 8, 9, 11, ..." in str(noticed)
    assert found(log) == before


def test_nothing_is_made_anew_from_an_entry_that_was_altered(log: Log) -> None:
    execute(log, "UPDATE entries SET data = (SELECT data FROM entries WHERE position = 1) WHERE position = 9")
    with pytest.raises(StoreUnavailable, match="Entry 9 of the log is not as it was appended"):
        compare_index(log.store, repair=True)


def test_a_backup_is_refused_and_a_restore_puts_right(log: Log, address: str, tmp_path: Path) -> None:
    folder, backup = KeyFolder(tmp_path / "keys"), tmp_path / "backup.sqlite3"
    log.checkpoint()
    back_up(address, folder, backup)
    before = found(log)
    execute(log, CHANGES["another tier"])
    with pytest.raises(StoreUnavailable, match=r"at position 19.*\n.*rebuild-index"):
        back_up(address, folder, tmp_path / "other.sqlite3")
    changed = EntryStore(open_database(backup))
    with changed.database.writing() as cursor:
        cursor.execute(HIDDEN["a row removed"])
    changed.close()
    restore(backup, str(tmp_path / "back.sqlite3"), folder, ORIGIN)
    back = EntryStore(open_database(tmp_path / "back.sqlite3"))
    assert list(back.find_decisions(OURS, None, 2000)) == before
    entry = back.entry(20)
    assert entry is not None
    assert orjson.loads(entry.data)["index_rebuilt"] is True
    back.close()


def test_a_moment_that_is_none_is_no_error_without_a_name(tmp_path: Path) -> None:
    """SQLite takes a text for a number."""
    log = Log(EntryStore(open_database(tmp_path / "log.sqlite3")), KeyFolder(tmp_path / "keys"), ORIGIN)
    log.append(decision_entry(1, at=NOON + timedelta(days=1)))
    execute(log, "UPDATE decisions SET decided_at = 'soon'")
    with pytest.raises(StoreUnavailable, match="under a moment that is none"):
        log.find_decisions(OURS, None, 9)
    assert compare_index(log.store, repair=True).count == 1
    assert len(log.find_decisions(OURS, None, 9)) == 1
    log.close()


def test_a_record_says_what_it_is_found_by() -> None:
    entry = decision_entry(7, episode="episode-1", limbs=LEGS)
    assert recorded_index(orjson.loads(entry.data)) == entry.decision
