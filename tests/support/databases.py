"""Databases for the tests: each test that takes `address`, or what is made of it, runs on SQLite and on
PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from limbtier.store.database import Database
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from tests.support.postgresql import PostgresqlMissing, Server, running_server


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Server]:
    """Return a PostgreSQL server."""
    try:
        running = running_server()
        server = running.__enter__()
    except PostgresqlMissing as missing:
        pytest.skip(f"needs PostgreSQL: {missing}")
    yield server
    running.__exit__(None, None, None)


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Return the setting that names a new, empty database."""
    if request.param == "sqlite":
        yield str(tmp_path / "log.sqlite3")
        return
    postgresql: Server = request.getfixturevalue("postgresql")
    address = postgresql.new_database()
    yield address
    postgresql.empty(address)


@pytest.fixture
def database(address: str) -> Iterator[Database]:
    """Return a new database."""
    database = open_database(address)
    yield database
    database.close()


@pytest.fixture
def store(database: Database) -> EntryStore:
    """Return a new log."""
    return EntryStore(database)
