"""Opens the database that a setting names, and brings its tables up to date."""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
from pathlib import Path
from typing import Final

from sqlalchemy import URL, Engine, create_engine, event
from sqlalchemy.exc import SQLAlchemyError

from limbtier.store.database import BUSY_SECONDS, Database
from limbtier.store.faults import fault, unavailable
from limbtier.store.postgresql import open_postgresql
from limbtier.store.schema import bring_up_to_date

IN_MEMORY: Final = ":memory:"
"""Names a database for the life of the process. It is a temporary file, so that nothing else differs."""

# Copying SQLite's write-ahead log into the database costs the commit that does it some 30 ms every 16 MB. At
# SQLite's own 4 MB one entry in fifty met that, and p99 was 16 to 23x p50; now it is 2x. A thread beside that
# copies lets the file grow, after which every commit cost 1.5x as much (measured with 40 kB an entry).
_CHECKPOINT_PAGES: Final = 4000
_LARGEST_KEPT_WAL: Final = 64 * 1024 * 1024


def open_database(setting: str | Path, *, make: bool = True) -> Database:
    """Open the database, made and brought up to date if need be; with `make` false it must be there.

    `setting` is a path, `:memory:`, or an address as `open_postgresql` takes it. Raises StoreUnavailable.
    """
    name = str(setting)
    folder = None
    try:
        if "://" in name:
            database = Database(open_postgresql(name, BUSY_SECONDS))
        else:
            if name == IN_MEMORY:
                folder = tempfile.TemporaryDirectory(prefix="limbtier-")
                name = str(Path(folder.name) / "limbtier.sqlite3")
            database = Database(_sqlite(Path(name), make=make), Path(name), folder)
        try:
            bring_up_to_date(database.engine)
        except BaseException:
            database.close()
            raise
    except (SQLAlchemyError, sqlite3.Error, OSError) as error:
        raise unavailable("opened", error) from None
    return database


def _sqlite(file: Path, *, make: bool) -> Engine:
    if not file.absolute().parent.is_dir():
        raise fault(f"The folder of the database, `{file.parent}`, is not there.", "Make the folder first.")
    if not file.exists():
        if not make:
            raise fault(f"There is no database `{file}`.", "Name the database in LIMBTIER_DATABASE.")
        # Only its owner may read it: it holds decisions.
        os.close(os.open(file, os.O_CREAT | os.O_RDWR, 0o600))
    engine = create_engine(
        URL.create("sqlite", database=str(file)),
        isolation_level="AUTOCOMMIT",
        connect_args={"timeout": BUSY_SECONDS, "check_same_thread": False},
    )
    event.listen(engine, "connect", _prepare_sqlite)
    return engine


def _prepare_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    # Switching to the write-ahead log needs the file alone for a moment, and SQLite does not wait for that.
    patience = time.monotonic() + BUSY_SECONDS
    while True:
        try:
            if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
                connection.execute("PRAGMA journal_mode = WAL")
            break
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname != "SQLITE_BUSY" or time.monotonic() > patience:
                raise
            time.sleep(0.02)
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute(f"PRAGMA wal_autocheckpoint = {_CHECKPOINT_PAGES}")
    connection.execute(f"PRAGMA journal_size_limit = {_LARGEST_KEPT_WAL}")
