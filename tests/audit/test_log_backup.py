"""A backup holds the whole log or is not there; what comes back says so, and never continues a lost log."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import orjson
import pytest

from limbtier.audit.backup import BackupRefused, back_up, restore
from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.export import export_log
from limbtier.audit.log import Log
from limbtier.audit.stored_log import StoredLog
from limbtier.audit.verify_export import verify_export
from limbtier.domain.caller import StoredKey
from limbtier.domain.entry import DecisionFilter
from limbtier.foundation.errors import LimbtierError, StoreUnavailable
from limbtier.foundation.signed_note import Checkpoint, open_note
from limbtier.store.entries import EntryStore
from limbtier.store.keys import KeyTable
from limbtier.store.opening import IN_MEMORY, open_database
from tests.support.log_entries import NOON, decision_entry, other_entry
from tests.support.postgresql import Server

ORIGIN = "log.invalid/quillerbeck"


@pytest.fixture
def folder(tmp_path: Path) -> KeyFolder:
    return KeyFolder(tmp_path / "keys")


@pytest.fixture
def log(address: str, folder: KeyFolder) -> Iterator[Log]:
    """Return a signed log of 300 entries."""
    log = open_at(address, folder)
    log.store.append([decision_entry(number, key=f"key-{number}") for number in range(299)])
    log.append(other_entry())
    log.checkpoint()
    yield log
    log.close()


@pytest.fixture
def new_address(request: pytest.FixtureRequest, address: str, tmp_path: Path) -> Iterator[str]:
    """Return where a database is to come back to, of the kind it was of."""
    if "://" not in address:
        yield str(tmp_path / "again" / "log.sqlite3")
        return
    postgresql: Server = request.getfixturevalue("postgresql")
    new = postgresql.new_database()
    yield new
    postgresql.empty(new)


def open_at(address: str, folder: KeyFolder) -> Log:
    return Log(EntryStore(open_database(address)), folder, ORIGIN)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_what_is_backed_up_comes_back_whole(
    log: Log, address: str, new_address: str, folder: KeyFolder, tmp_path: Path
) -> None:
    key = StoredKey("a", b"h" * 32, "quillerbeck", "auditor", frozenset({"audit"}), NOON)
    with log.store.database.writing() as cursor:
        KeyTable(log.store.database).adding(key)(cursor, 0)
    backup = tmp_path / "backup.sqlite3"
    assert back_up(address, folder, backup) == 300
    assert f"{backup.stat().st_mode & 0o777:o}" == "600"
    before = list(log.store.entries_from(0, 300))
    (tmp_path / "again").mkdir()
    restored = restore(backup, new_address, folder, ORIGIN)
    assert (restored.entries, restored.name) == (301, None)
    back = open_at(new_address, folder)
    assert back.state.fault is None
    assert list(back.store.entries_from(0, 300)) == before
    last = back.store.entry(300)
    assert last is not None
    record = orjson.loads(last.data)
    assert (record["kind"], record["size"], record["lost_entries"]) == ("log_restored", 300, None)
    assert list(KeyTable(back.store.database).all()) == [key]
    assert back.find_retry("caller-1", "key-7") == log.find_retry("caller-1", "key-7")
    wanted = DecisionFilter("quillerbeck", rule="wet-review", decided_before=NOON + timedelta(seconds=9))
    assert back.find_decisions(wanted, None, 99) == log.find_decisions(wanted, None, 99)
    assert open_note(back.checkpoint(), log.verifier_keys).verified == log.verifier_keys
    back.close()


def test_a_backup_is_made_while_entries_are_written(
    log: Log, address: str, folder: KeyFolder, tmp_path: Path
) -> None:
    stop = threading.Event()

    def write() -> None:
        while not stop.is_set():
            log.append(decision_entry(size=2000))
            log.checkpoint()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        sizes = [back_up(address, folder, tmp_path / f"backup-{number}") for number in range(3)]
    finally:
        stop.set()
        writer.join()
    assert sizes == sorted(sizes)
    assert all(300 <= size <= log.size for size in sizes)


def test_a_backup_never_replaces_a_file(log: Log, address: str, folder: KeyFolder, tmp_path: Path) -> None:
    target = tmp_path / "backup"
    for name in ("backup", "backup-wal"):
        (tmp_path / name).write_text("mine", encoding="utf-8")
        with pytest.raises(BackupRefused, match="is there already"):
            back_up(address, folder, target)
        assert (tmp_path / name).read_text(encoding="utf-8") == "mine"
        (tmp_path / name).unlink()
    target.symlink_to(tmp_path / "nowhere")
    with pytest.raises(BackupRefused, match="is there already"):
        back_up(address, folder, target)
    with pytest.raises(LimbtierError):
        back_up(address, folder, tmp_path / "missing" / "backup")


def test_a_damaged_log_is_not_backed_up_as_if_it_were_whole(
    log: Log, address: str, folder: KeyFolder, tmp_path: Path
) -> None:
    with log.store.database.writing() as cursor:
        cursor.execute(
            "UPDATE entries SET data = (SELECT data FROM entries WHERE position = 0) WHERE position = 7"
        )
    with pytest.raises(StoreUnavailable, match="Entry 7 of the log is not as it was appended"):
        back_up(address, folder, tmp_path / "backup")
    assert not any("backup" in name for name in names(tmp_path))


def test_a_backup_that_was_changed_is_not_put_back(
    log: Log, address: str, folder: KeyFolder, tmp_path: Path
) -> None:
    backup = tmp_path / "backup"
    back_up(address, folder, backup)
    changed = sqlite3.connect(backup)
    changed.execute(
        "UPDATE entries SET data = (SELECT data FROM entries WHERE position = 0) WHERE position = 7"
    )
    changed.commit()
    changed.close()
    (tmp_path / "again").mkdir()
    with pytest.raises(StoreUnavailable, match="Entry 7"):
        restore(backup, str(tmp_path / "again" / "log.sqlite3"), folder, ORIGIN)
    assert names(tmp_path / "again") == []
    backup.write_bytes(b"no backup")
    with pytest.raises(StoreUnavailable):
        restore(backup, str(tmp_path / "again" / "log.sqlite3"), folder, ORIGIN)
    with pytest.raises(BackupRefused, match="There is no file"):
        restore(tmp_path / "missing", str(tmp_path / "again" / "log.sqlite3"), folder, ORIGIN)
    with pytest.raises(BackupRefused, match="in memory"):
        restore(backup, IN_MEMORY, folder, ORIGIN)
    assert names(tmp_path / "again") == []


def test_nothing_is_put_back_over_a_database(
    log: Log, address: str, folder: KeyFolder, tmp_path: Path
) -> None:
    backup = tmp_path / "backup"
    back_up(address, folder, backup)
    with pytest.raises(LimbtierError, match=r"is there already|The database is not empty"):
        restore(backup, address, folder, ORIGIN)
    assert log.size == 300
    assert not any("unfinished" in name or "restored" in name for name in names(tmp_path))


def later(log: Log, address: str, folder: KeyFolder, tmp_path: Path) -> Path:
    """A backup, after which 5 more entries were made and signed."""
    backup = tmp_path / "backup"
    back_up(address, folder, backup)
    log.store.append([decision_entry(number) for number in range(5)])
    log.checkpoint()
    (tmp_path / "again").mkdir()
    return backup


def test_a_backup_older_than_what_was_signed_is_refused(
    log: Log, address: str, new_address: str, folder: KeyFolder, tmp_path: Path
) -> None:
    backup = later(log, address, folder, tmp_path)
    keys = folder.read()
    with pytest.raises(BackupRefused, match="has 300 entries, but 305 were signed"):
        restore(backup, new_address, folder, ORIGIN)
    assert names(tmp_path / "again") == []
    assert folder.read() == keys
    log.check()


def test_a_log_that_lost_signed_entries_comes_back_under_another_name(
    log: Log, address: str, new_address: str, folder: KeyFolder, tmp_path: Path
) -> None:
    log.rotate_key()
    backup = later(log, address, folder, tmp_path)
    kept_before = tmp_path / "kept-before"
    kept_before.write_text(log.checkpoint(), encoding="utf-8")
    former = log.verifier_keys
    restored = restore(backup, new_address, folder, ORIGIN, "the disk burnt")
    assert restored.name == f"{ORIGIN}/restored-1"
    back = open_at(new_address, folder)
    assert back.state.fault is None
    new = back.verifier_keys[-1]
    assert (back.verifier_keys, new.name) == ((*former, new), restored.name)
    entry = back.store.entry(301)
    assert entry is not None
    record = orjson.loads(entry.data)
    assert (record["kind"], record["lost_entries"], record["new"]) == (
        "log_restored",
        "the disk burnt",
        str(new),
    )
    back.append(other_entry())
    note = back.checkpoint()
    opened = open_note(note, [new])
    assert (opened.verified, opened.unknown) == ((new,), ())
    assert Checkpoint.read(opened.text).origin == restored.name
    # Nothing is signed any more under the old name, and whoever kept a checkpoint of it is told.
    assert all(one.note.startswith(f"{restored.name}\n") for one in back.checkpoints())
    kept_now = tmp_path / "kept-now"
    kept_now.write_text(note, encoding="utf-8")
    export_log(StoredLog(back, folder), tmp_path / "export")
    assert verify_export(tmp_path / "export", kept_now).damages == ()
    assert {one.code for one in verify_export(tmp_path / "export", kept_before).damages} >= {"origin-differs"}
    # And once more.
    again = tmp_path / "again.sqlite3"
    assert restore(backup, str(again), folder, ORIGIN, "again").name == f"{ORIGIN}/restored-2"
    back.close()


@pytest.mark.parametrize("keep", [False, True])
def test_a_key_that_was_revoked_after_the_backup_does_not_come_back(
    log: Log, address: str, new_address: str, folder: KeyFolder, tmp_path: Path, keep: bool
) -> None:
    keys = KeyTable(log.store.database)
    for name in ("a", "b", "c"):
        key = StoredKey(name, b"h" * 32, "quillerbeck", "auditor", frozenset({"audit"}), NOON)
        log.append(replace(other_entry(), also=keys.adding(key)))
    keys.revoke("a", NOON)
    backup = later(log, address, folder, tmp_path)
    keys.revoke("b", NOON)
    restored = restore(backup, new_address, folder, ORIGIN, "the disk burnt", keep_keys=keep)
    assert restored.revoked == (() if keep else ("b", "c"))
    back = open_at(new_address, folder)
    revoked = [key.id for key in KeyTable(back.store.database).all() if key.revoked_at is not None]
    assert revoked == (["a"] if keep else ["a", "b", "c"])
    entry = back.store.entry(restored.entries - 1)
    assert entry is not None
    assert orjson.loads(entry.data)["keys_revoked"] == list(restored.revoked)
    back.close()


def test_a_log_whose_key_is_lost_comes_back_under_another_name(
    log: Log, address: str, new_address: str, folder: KeyFolder, tmp_path: Path
) -> None:
    backup = tmp_path / "backup"
    back_up(address, folder, backup)
    (tmp_path / "again").mkdir()
    other = KeyFolder(tmp_path / "other-keys")
    with pytest.raises(BackupRefused, match="there is no key"):
        restore(backup, new_address, other, ORIGIN)
    assert not other.path.exists()
    restored = restore(backup, new_address, other, ORIGIN, "the key was on the same disk")
    assert restored.name == f"{ORIGIN}/restored-1"
    back = open_at(new_address, other)
    assert back.state.fault is None
    assert back.append(other_entry()) == 301
    back.close()


def test_the_key_of_another_log_does_not_go_on_with_a_backup(
    log: Log, address: str, folder: KeyFolder, tmp_path: Path
) -> None:
    backup = tmp_path / "backup"
    back_up(address, folder, backup)
    other = KeyFolder(tmp_path / "other-keys")
    other.make(ORIGIN)
    (tmp_path / "again").mkdir()
    for reason in (None, "a reason"):
        with pytest.raises(StoreUnavailable, match="No known key has signed"):
            restore(backup, str(tmp_path / "again" / "log.sqlite3"), other, ORIGIN, reason)
    assert names(tmp_path / "again") == []


def test_a_log_that_was_never_signed_comes_back(folder: KeyFolder, tmp_path: Path) -> None:
    store = EntryStore(open_database(tmp_path / "log.sqlite3"))
    store.append([other_entry()])
    store.close()
    back_up(str(tmp_path / "log.sqlite3"), folder, tmp_path / "backup")
    assert restore(tmp_path / "backup", str(tmp_path / "again.sqlite3"), folder, ORIGIN).entries == 2


def test_a_log_moves_from_one_kind_of_database_to_the_other(
    postgresql: Server, folder: KeyFolder, tmp_path: Path
) -> None:
    first = open_at(str(tmp_path / "log.sqlite3"), folder)
    first.store.append([decision_entry(number) for number in range(70)])
    note = first.checkpoint()
    first.close()
    address = postgresql.new_database()
    back_up(str(tmp_path / "log.sqlite3"), folder, tmp_path / "backup")
    restore(tmp_path / "backup", address, folder, ORIGIN)
    back_up(address, folder, tmp_path / "backup-2")
    restore(tmp_path / "backup-2", str(tmp_path / "again.sqlite3"), folder, ORIGIN)
    last = open_at(str(tmp_path / "again.sqlite3"), folder)
    assert last.state.fault is None
    assert last.size == 72
    assert note in [one.note for one in last.checkpoints()]
    last.close()
    postgresql.empty(address)


def test_a_database_with_a_damaged_page_is_no_backup(folder: KeyFolder, tmp_path: Path) -> None:
    """Here a page of an index, on which no entry lies: reading the whole log does not come by it."""
    file = tmp_path / "log.sqlite3"
    log = open_at(str(file), folder)
    log.store.append([decision_entry(number) for number in range(50)])
    log.close()
    with closing(sqlite3.connect(file)) as connection:
        question = "SELECT rootpage FROM sqlite_master WHERE name = 'decisions_of_episode'"
        page = connection.execute(question).fetchone()[0]
        size = connection.execute("PRAGMA page_size").fetchone()[0]
    with file.open("r+b") as opened:
        opened.seek((page - 1) * size)
        opened.write(b"\x55" * size)
    with pytest.raises(StoreUnavailable, match=r"damaged|malformed"):
        back_up(str(file), folder, tmp_path / "backup.sqlite3")
    assert not (tmp_path / "backup.sqlite3").exists()
    back = tmp_path / "back.sqlite3"
    with pytest.raises(StoreUnavailable, match=r"damaged|malformed"):
        restore(file, str(back), folder, ORIGIN)
    assert not back.exists()
