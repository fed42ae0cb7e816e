"""What goes wrong with a database becomes StoreUnavailable that says what to do; nothing is lost by it."""

from __future__ import annotations

import os
import random
import resource
import shutil
import socket
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from threading import Thread

import pytest

from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.log import Log
from limbtier.audit.self_check import check_whole
from limbtier.domain.entry import DecisionFilter, Entry
from limbtier.foundation.errors import StoreUnavailable
from limbtier.store import opening
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from tests.support.log_entries import decision_entry, other_entry
from tests.support.postgresql import Server

ORIGIN = "log.invalid/quillerbeck"
NOBODY = 65534


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite3"


def filled(file: Path, count: int, size: int = 0) -> list[Entry]:
    """Make a log of so many entries, closed, and return them."""
    store = EntryStore(open_database(file))
    entries = [decision_entry(number, size=size) for number in range(count)]
    store.append(entries)
    store.close()
    return entries


@contextmanager
def files_of_at_most(size: int) -> Iterator[None]:
    """No file can grow beyond a size: what a full disk looks like."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@contextmanager
def as_somebody_without_rights() -> Iterator[None]:
    """The rights of files count: they do not for root."""
    root = os.geteuid() == 0
    if root:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)


def test_a_full_disk_refuses_and_loses_nothing(file: Path) -> None:
    store = EntryStore(open_database(file))
    kept = [store.append([decision_entry(number, size=10_000)])[0] for number in range(3)]
    with files_of_at_most(60_000):
        failed: list[str] = []
        for number in range(3, 12):
            try:
                kept += store.append([decision_entry(number, size=10_000)])
            except StoreUnavailable as error:
                failed.append(str(error))
    assert failed
    assert all("The log could not be written: " in one and "help: " in one for one in failed)
    assert kept == list(range(len(kept)))
    assert store.append([other_entry()]) == [len(kept)]
    assert [entry.position for entry in store.entries_from(0, len(kept) + 1)] == [*kept, len(kept)]
    assert store.extent() == (len(kept) + 1, 0, len(kept))
    store.close()


def test_a_database_at_its_largest_refuses(file: Path) -> None:
    store = EntryStore(open_database(file))
    store.append([other_entry()])
    with store.database.writing() as cursor:
        pages = cursor.execute("PRAGMA page_count").fetchone()[0]
        cursor.execute(f"PRAGMA max_page_count = {pages + 1}")
    with pytest.raises(StoreUnavailable, match=r"disk is full.*\n.*Free space for the database"):
        store.append([decision_entry(size=30_000)])
    assert store.head().size == 1
    store.close()


def test_a_file_that_cannot_be_written_is_read_and_takes_nothing() -> None:
    # Not the folder of pytest, which others may not enter.
    folder = Path(tempfile.mkdtemp(prefix="limbtier-test-"))
    folder.chmod(0o777)
    try:
        entries = filled(folder / "log.sqlite3", 3)
        (folder / "log.sqlite3").chmod(0o444)
        with as_somebody_without_rights():
            log = Log(EntryStore(open_database(folder / "log.sqlite3")), KeyFolder(folder / "keys"), ORIGIN)
            fault = log.state.fault
            assert fault is not None
            assert "attempt to write a readonly database" in str(fault)
            assert "Let the service write the database file and its folder." in str(fault)
            with pytest.raises(StoreUnavailable, match="readonly"):
                log.append(other_entry())
            assert log.decision(entries[1].id, "quillerbeck") == entries[1].data
            assert len(log.find_decisions(DecisionFilter("quillerbeck"), None, 9)) == 3
            assert log.inclusion(1, 3).root == log.store.head().root()
            log.close()
    finally:
        shutil.rmtree(folder)


def test_a_folder_without_rights_is_refused(tmp_path: Path) -> None:
    folder = Path(tempfile.mkdtemp(prefix="limbtier-test-"))
    try:
        filled(folder / "log.sqlite3", 1)
        folder.chmod(0o500)
        with as_somebody_without_rights(), pytest.raises(StoreUnavailable, match="help: "):
            open_database(folder / "log.sqlite3")
    finally:
        folder.chmod(0o700)
        shutil.rmtree(folder)


@pytest.mark.parametrize("content", [b"no database at all" * 100, b"SQLite format 3\x00" + b"\xff" * 5000])
def test_a_file_that_is_no_database_is_refused_and_left_alone(file: Path, content: bytes) -> None:
    file.write_bytes(content)
    with pytest.raises(StoreUnavailable, match="help: "):
        open_database(file)
    assert file.read_bytes() == content


@pytest.mark.parametrize("seed", range(12))
def test_bytes_overwritten_anywhere_never_give_a_wrong_entry(file: Path, tmp_path: Path, seed: int) -> None:
    """Some bytes of the closed file are overwritten; what can be read is right, all else is refused."""
    entries = filled(file, 60, size=3_000)
    chance = random.Random(seed)
    data = bytearray(file.read_bytes())
    for _ in range(chance.randint(1, 4)):
        start = chance.randrange(100, len(data))
        end = min(len(data), start + chance.choice([1, 8, 300, 5000]))
        data[start:end] = chance.randbytes(end - start)
    file.write_bytes(bytes(data))
    given = refused = 0
    try:
        log = Log(EntryStore(open_database(file)), KeyFolder(tmp_path / "keys"), ORIGIN)
    except StoreUnavailable:
        return
    for position, entry in enumerate(entries):
        try:
            found = log.store.entry(position)
            by_id = log.decision(entry.id, "quillerbeck")
        except StoreUnavailable:
            refused += 1
            continue
        assert found is None or found.data == entry.data
        assert by_id is None or by_id == entry.data
        given += found is not None
    if given < len(entries):
        with pytest.raises(StoreUnavailable):
            check_whole(log.store)
    for work in (lambda: log.append(other_entry()), log.checkpoint, lambda: log.inclusion(3, 60), log.check):
        try:
            work()
        except StoreUnavailable:
            refused += 1
    log.close()


def test_a_database_locked_for_long_is_refused_and_goes_on_afterwards(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "BUSY_SECONDS", 0.05)
    store = EntryStore(open_database(file))
    store.append([other_entry()])
    other = sqlite3.connect(file, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreUnavailable, match=r"database is locked.*\n.*Another process holds the database"):
        store.append([other_entry()])
    assert store.head().size == 1
    assert store.entry(0) is not None
    other.execute("ROLLBACK")
    other.close()
    assert store.append([other_entry()]) == [1]
    store.close()


def test_a_row_locked_for_long_is_refused_and_goes_on_afterwards(
    postgresql: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "BUSY_SECONDS", 0.05)
    address = postgresql.new_database()
    store, other = (EntryStore(open_database(address)) for _ in range(2))
    store.append([other_entry()])
    with other.locked():
        with pytest.raises(StoreUnavailable, match=r"lock timeout.*\n.*Another process holds the database"):
            store.append([other_entry()])
        assert store.head().size == 1
    assert store.append([other_entry()]) == [1]
    store.close()
    other.close()
    postgresql.empty(address)


def test_a_connection_that_was_cut_is_made_anew(postgresql: Server) -> None:
    address = postgresql.new_database()
    store, other = (EntryStore(open_database(address)) for _ in range(2))
    store.append([other_entry()])
    cut = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid()"
    with other.database.writing() as cursor:
        cursor.execute(cut + " AND datname = current_database()")
    with pytest.raises(StoreUnavailable, match="help: "):
        store.append([other_entry()])
    assert store.append([other_entry()]) == [1]
    assert store.extent() == (2, 0, 1)
    assert [entry.position for entry in store.entries_from(0, 2)] == [0, 1]
    store.close()
    other.close()
    postgresql.empty(address)


def test_a_text_that_postgresql_cannot_keep_is_refused_alone(postgresql: Server) -> None:
    address = postgresql.new_database()
    store = EntryStore(open_database(address))
    with pytest.raises(StoreUnavailable, match="help: "):
        store.append([decision_entry(episode="null \x00 character")])
    assert store.append([other_entry()]) == [0]
    store.close()
    postgresql.empty(address)


def test_a_role_that_is_refused_is_told_without_its_password(postgresql: Server) -> None:
    address = postgresql.new_database().replace("limbtier@", "stranger:hidden-word@")
    with pytest.raises(StoreUnavailable, match="stranger") as caught:
        open_database(address)
    assert "hidden-word" not in str(caught.value)
    assert "Check the role and the password" in str(caught.value)


def test_a_server_that_hangs_up_as_it_refuses_is_told_by_what_it_said() -> None:
    """The driver then cannot say goodbye, and its own error is about that."""
    said = b"SFATAL\0C28P01\0Mno such role\0\0"  # ErrorResponse (PostgreSQL, "Message Formats")
    folder = Path(tempfile.mkdtemp(prefix="limbtier-test-"))  # the path of a Unix socket must be short
    with closing(socket.socket(socket.AF_UNIX)) as listening:
        listening.bind(str(folder / ".s.PGSQL.5432"))
        listening.listen()

        def refuse() -> None:
            connection, _ = listening.accept()
            with connection:
                connection.recv(1000)
                connection.shutdown(socket.SHUT_RD)
                connection.sendall(b"E" + (len(said) + 4).to_bytes(4) + said)
                connection.shutdown(socket.SHUT_WR)

        refusing = Thread(target=refuse)
        refusing.start()
        try:
            with pytest.raises(StoreUnavailable, match=r"no such role(.|\n)*Check the role and the password"):
                open_database(f"postgresql://stranger@/limbtier?host={folder}")
        finally:
            refusing.join()
            shutil.rmtree(folder)


@pytest.mark.parametrize("ending", ["", "-wal"])
@pytest.mark.parametrize("replaced", [False, True])
def test_a_file_that_was_moved_or_replaced_while_in_use_takes_nothing(
    file: Path, ending: str, *, replaced: bool
) -> None:
    """SQLite itself writes on, into what no name leads to any more."""
    store = EntryStore(open_database(file))
    store.append([other_entry(0)])
    named = file.with_name(file.name + ending)
    aside = file.with_name("aside")
    named.rename(aside)
    if replaced:
        shutil.copy(aside, named)
    for attempt in (lambda: store.append([other_entry(1)]), store.check_writable):
        with pytest.raises(StoreUnavailable, match="moved, removed or replaced"):
            attempt()
    aside.rename(named)
    assert store.append([other_entry(2)]) == [1]
    store.close()


def test_a_database_behind_a_link_is_used_like_any_other(file: Path) -> None:
    link = file.with_name("link.sqlite3")
    link.symlink_to(file)
    filled(file, 1)
    store = EntryStore(open_database(link))
    assert store.append([other_entry(1)]) == [1]
    assert store.append([other_entry(2)]) == [2]
    store.close()


def test_after_a_write_that_failed_the_disk_itself_is_asked_whether_it_is_still_full(file: Path) -> None:
    store = EntryStore(open_database(file))
    store.append([other_entry()])
    store.check_writable()
    with files_of_at_most(0):
        with pytest.raises(StoreUnavailable):
            store.append([decision_entry(size=30_000)])
        with pytest.raises(StoreUnavailable, match="could not be written"):
            store.check_writable()
    store.check_writable()
    assert store.append([other_entry(1)]) == [1]
    assert store.head().size == 2
    store.close()


def test_a_file_that_cannot_be_written_is_not_writable() -> None:
    folder = Path(tempfile.mkdtemp(prefix="limbtier-test-"))  # not pytest's, which others may not enter
    folder.chmod(0o777)
    try:
        filled(folder / "log.sqlite3", 3)
        (folder / "log.sqlite3").chmod(0o444)
        with as_somebody_without_rights():
            store = EntryStore(open_database(folder / "log.sqlite3"))
            with pytest.raises(StoreUnavailable, match="readonly"):
                store.check_writable()
            store.close()
    finally:
        shutil.rmtree(folder)
