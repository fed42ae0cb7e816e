"""Copies a whole database: a SQLite file as a file, anything else row by row, as it was at one moment."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final
from urllib.parse import quote

from sqlalchemy import Connection, delete, insert, select, tuple_
from sqlalchemy.exc import SQLAlchemyError

from limbtier.store.database import Database
from limbtier.store.faults import damaged, fault, unavailable
from limbtier.store.opening import open_database
from limbtier.store.tables import REVISION, log_head, metadata

_AT_ONCE: Final = 200


def copy_file(source: Path, target: Path) -> None:
    """Copy a SQLite database, which others may write meanwhile, into a new file for its owner alone.

    Raises StoreUnavailable, FileExistsError.
    """
    os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_RDWR | os.O_NOFOLLOW, 0o600))
    try:
        with (
            closing(sqlite3.connect(f"file:{quote(str(source.absolute()))}?mode=ro", uri=True)) as old,
            closing(sqlite3.connect(target)) as new,
        ):
            old.backup(new)
    except sqlite3.Error as error:
        raise unavailable("copied", error) from None


def tables_are_current(file: Path) -> bool:
    """Whether a SQLite database has the tables of this version, so that opening it changes nothing in it.
    True also where none can be read: opening it then says what is wrong."""
    try:
        with closing(sqlite3.connect(f"file:{quote(str(file.absolute()))}?mode=ro", uri=True)) as database:
            row = database.execute("SELECT version_num FROM alembic_version").fetchone()
    except sqlite3.Error:
        return True
    return row is None or row[0] == REVISION


def copy_into_file(source: Database, target: Path) -> None:
    """Copy a database, row by row, into a new SQLite file. Raises StoreUnavailable, FileExistsError."""
    os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_RDWR | os.O_NOFOLLOW, 0o600))
    new = open_database(target)
    try:
        copy_rows(source, new)
    finally:
        new.close()


def require_sound(file: Path) -> None:
    """Have SQLite look at every page and every index of a database that nobody writes: reading all
    entries does not come by all of it. Raises StoreUnavailable."""
    try:
        with closing(sqlite3.connect(file)) as connection:
            found = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(1)")]
    except sqlite3.Error as error:
        raise unavailable("read", error) from None
    if found != ["ok"]:
        raise damaged(f"The database is damaged: {' '.join(found[0].split())}.")


def make_single(file: Path) -> None:
    """Make a SQLite database that nobody uses one file that can be read without writing beside it."""
    try:
        with closing(sqlite3.connect(file)) as connection:
            connection.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.Error as error:
        raise unavailable("written", error) from None


def copy_rows(source: Database, target: Database) -> None:
    """Copy every row into a database whose log is empty, all of it or nothing. Raises StoreUnavailable."""
    snapshot = "AUTOCOMMIT" if source.is_sqlite else "REPEATABLE READ"
    try:
        with (
            source.engine.connect().execution_options(isolation_level=snapshot) as old,
            target.engine.connect() as new,
        ):
            new.exec_driver_sql("BEGIN IMMEDIATE" if target.is_sqlite else "BEGIN")
            try:
                _require_empty(new)
                new.execute(delete(log_head))
                _copy(old, new)
                new.exec_driver_sql("COMMIT")
            except BaseException:
                new.exec_driver_sql("ROLLBACK")
                raise
    except SQLAlchemyError as error:
        raise unavailable("copied", error) from None


def _copy(old: Connection, new: Connection) -> None:
    for table in metadata.sorted_tables:
        key = list(table.primary_key.columns)
        query = select(table).order_by(*key).limit(_AT_ONCE)
        rows = old.execute(query).mappings().all()
        while rows:
            new.execute(insert(table), [dict(row) for row in rows])
            last = tuple_(*(rows[-1][column.name] for column in key))
            rows = old.execute(query.where(tuple_(*key) > last)).mappings().all()


def _require_empty(connection: Connection) -> None:
    for table in metadata.sorted_tables:
        if table is not log_head and connection.execute(select(table).limit(1)).first() is not None:
            raise fault(
                f"The database is not empty: it has rows in `{table.name}`.",
                "Name a new or an empty database. Nothing was changed.",
            )
