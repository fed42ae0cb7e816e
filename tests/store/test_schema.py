"""The tables are brought up to date at start, once, and never down."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from limbtier.foundation.errors import StoreUnavailable
from limbtier.store import schema
from limbtier.store.database import Database
from limbtier.store.entries import EntryStore
from limbtier.store.opening import IN_MEMORY, open_database
from limbtier.store.tables import REVISION, metadata
from tests.support.log_entries import other_entry


def test_the_migrations_lead_to_the_tables(database: Database) -> None:
    with database.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


def test_the_revision_of_the_tables_is_the_last_migration() -> None:
    assert ScriptDirectory(str(schema._MIGRATIONS)).get_heads() == [REVISION]


def test_a_database_newer_than_the_code_is_refused_and_left_alone(database: Database, address: str) -> None:
    with database.writing() as cursor:
        cursor.execute("UPDATE alembic_version SET version_num = '0999'")
    with pytest.raises(StoreUnavailable, match="made by a newer version: its tables are at revision 0999"):
        open_database(address)
    with database.reading() as cursor:
        cursor.execute("SELECT version_num FROM alembic_version")
        assert tuple(cursor.fetchone()) == ("0999",)


def test_a_database_of_something_else_is_refused_and_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "other.sqlite3"
    other = sqlite3.connect(file)
    other.execute("CREATE TABLE stock (item TEXT)")
    other.commit()
    with pytest.raises(StoreUnavailable, match="holds tables that are not of this log: stock"):
        open_database(file)
    assert other.execute("SELECT name FROM sqlite_master").fetchall() == [("stock",)]
    other.close()


def test_many_that_start_together_make_one_log(address: str) -> None:
    stores: list[EntryStore] = []
    faults: list[Exception] = []
    ready = threading.Barrier(6)

    def start() -> None:
        ready.wait()
        try:
            stores.append(EntryStore(open_database(address)))
        except StoreUnavailable as fault:
            faults.append(fault)

    threads = [threading.Thread(target=start) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert [store.append([other_entry()]) for store in stores] == [[position] for position in range(6)]
    for store in stores:
        store.close()


def test_a_new_file_is_its_owners_alone(tmp_path: Path) -> None:
    database = open_database(tmp_path / "log.sqlite3")
    EntryStore(database).append([other_entry()])
    modes = {path.name: oct(path.stat().st_mode & 0o777) for path in tmp_path.iterdir()}
    assert set(modes.values()) == {"0o600"}
    assert len(modes) == 3
    database.close()


def test_a_database_in_memory_leaves_nothing() -> None:
    database = open_database(IN_MEMORY)
    assert EntryStore(database).append([other_entry()]) == [0]
    folder = database.file.parent if database.file else Path()
    assert folder.is_dir()
    database.close()
    assert not folder.exists()


@pytest.mark.parametrize(
    ("setting", "message"),
    [
        ("mysql://somewhere/log", "`mysql` is not known"),
        ("postgresql://role@host:port/log", "cannot be read"),
        ("postgresql://somewhere/log", "must name a role and a database"),
        ("postgresql://role@somewhere", "must name a role and a database"),
        ("postgresql://role@somewhere/log?sslmode=prefer", "sslmode=disable"),
        ("postgresql://role@somewhere/log?connect_timeout=1", "sslmode=disable"),
        ("postgresql://nobody:secret@/log?host=/nowhere", "could not be opened"),
        ("missing-folder/log.sqlite3", "is not there"),
    ],
)
def test_a_setting_that_names_no_database_is_refused(
    setting: str, message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(StoreUnavailable, match=message) as caught:
        open_database(setting)
    assert "secret" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_a_database_that_must_be_there_is_not_made(tmp_path: Path) -> None:
    with pytest.raises(StoreUnavailable, match="There is no database"):
        open_database(tmp_path / "log.sqlite3", make=False)
    assert list(tmp_path.iterdir()) == []
