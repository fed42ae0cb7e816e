"""Connections to the database of a setting: a file for SQLite, or the address of a PostgreSQL database.

Statements are built from the tables by SQLAlchemy once and handed to the driver as text: on the way of a
decision its own execution costs more than the statements themselves.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Engine, PoolProxiedConnection, Select, Table, bindparam, func, insert, select
from sqlalchemy.dialects.postgresql import ARRAY
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.sql.elements import CompilerElement

from limbtier.store.faults import Busy, Conflict, damaged, is_conflict, unavailable
from limbtier.store.postgresql import PREPARED, PreparedCursor
from limbtier.store.tables import entries, metadata

BUSY_SECONDS: Final = 5
"""How long a writer waits for another process before it gives up."""

_LOOK_AGAIN_SECONDS: Final = 0.0003

Row = tuple[Any, ...]
Cursor = Any  # of PEP 249: the drivers have no common type


class Database:
    """One database: a pool of connections that read, and one connection that writes, by turns.

    Made by `opening.open_database`. Everything but construction and `close` raises StoreUnavailable.
    """

    def __init__(
        self, engine: Engine, file: Path | None = None, folder: tempfile.TemporaryDirectory[str] | None = None
    ) -> None:
        """`file` is that of SQLite; `folder` goes when the database is closed."""
        driver = engine.dialect.loaded_dbapi
        self.engine = engine
        self.file = file
        self.is_sqlite = engine.dialect.name == "sqlite"
        self._folder = folder
        self._errors = (driver.Error, SQLAlchemyError, OSError)
        # The texts are for `PreparedCursor` on PostgreSQL, which has other marks for parameters.
        self._dialect = engine.dialect if self.is_sqlite else PREPARED
        self._insert = {name: self._insertion(table) for name, table in metadata.tables.items()}
        self._insert_new = {name: text + " ON CONFLICT DO NOTHING" for name, text in self._insert.items()}
        self._writer: PoolProxiedConnection | None = None
        # SQLite keeps the write-ahead log beside the file that a link leads to.
        self._paths = () if file is None else (file, Path(f"{os.path.realpath(file)}-wal"))
        self._written_files: tuple[os.stat_result | None, ...] = ()
        self._turn = threading.Lock()

    def text(self, statement: CompilerElement) -> str:
        """A statement as text for `rows` and for cursors, parameters in the order of the text."""
        compiled = statement.compile(dialect=self._dialect, compile_kwargs={"render_postcompile": True})
        return str(compiled)

    def rows(self, text: str, *values: object) -> list[Row]:
        """All rows that a statement finds in what is committed."""
        with self.reading() as cursor:
            cursor.execute(text, values)
            return list(map(tuple, cursor.fetchall()))

    def select(self, statement: Select[Any]) -> list[Row]:
        """All rows that a statement finds, where its form depends on what is wanted."""
        try:
            with self.engine.connect() as connection:
                return list(map(tuple, connection.execute(statement).fetchall()))
        except self._errors as error:
            raise unavailable("read", error) from None

    @contextmanager
    def reading(self) -> Iterator[Cursor]:
        """A cursor that reads what is committed."""
        try:
            connection = self.engine.raw_connection()
            try:
                yield self._cursor(connection)
            except self._errors:
                connection.invalidate()
                raise
            finally:
                connection.close()
        except self._errors as error:
            raise unavailable("read", error) from None

    @contextmanager
    def writing(self, *, wait: bool = True) -> Iterator[Cursor]:
        """A cursor in a transaction; on SQLite nobody else writes meanwhile, on PostgreSQL lock a row.

        When the block ends, what was written is on the disk; when it raises, nothing of it is kept. Raises
        Conflict when a key is there already. An error of the commit itself leaves open whether it was kept.
        Without `wait` it raises Busy where it would have to wait for more than the disk.
        """
        if not self._turn.acquire(blocking=wait):
            raise Busy
        try:
            if not wait and (not self.is_sqlite or self._writer is None):
                raise Busy
            try:
                fresh = self._writer is None
                if self._writer is None:
                    self._writer = self.engine.raw_connection()
                    if self.is_sqlite:
                        self._writer.cursor().execute("PRAGMA busy_timeout = 0")
                cursor = self._cursor(self._writer)
                if self.is_sqlite:
                    _begin_alone(cursor, wait=wait)
                else:
                    cursor.execute("BEGIN")
                if fresh:
                    self._written_files = self._files()
                try:
                    yield cursor
                    self._require_same_files()
                    cursor.execute("COMMIT")
                except BaseException:
                    with contextlib.suppress(*self._errors):
                        cursor.execute("ROLLBACK")
                    raise
            except self._errors as error:
                if is_conflict(error):
                    raise Conflict(unavailable("written", error).diagnostics) from None
                self._drop_writer()  # whatever state it is in, the next one begins afresh
                raise unavailable("written", error) from None
        finally:
            self._turn.release()

    def _files(self) -> tuple[os.stat_result | None, ...]:
        """What stands now where SQLite keeps the database and its write-ahead log."""
        found: list[os.stat_result | None] = []
        for path in self._paths:
            try:
                found.append(path.stat())
            except FileNotFoundError:
                found.append(None)
        return tuple(found)

    def _require_same_files(self) -> None:
        """What is open is still what has the name. A file that was moved, removed or replaced can be written
        on, without any error, and is gone when the last process that has it open ends."""
        for one, now in zip(self._written_files, self._files(), strict=True):
            if (one is None) != (now is None) or (one and now and not os.path.samestat(one, now)):
                raise damaged(
                    "The file of the database, or the one beside it that ends in -wal, was moved, removed or "
                    "replaced while the service used it."
                )

    def _cursor(self, connection: PoolProxiedConnection) -> Cursor:
        return connection.cursor() if self.is_sqlite else PreparedCursor(connection)

    def insert(self, cursor: Cursor, table: Table, rows: Sequence[Row], *, new_only: bool = False) -> None:
        """Insert rows, each with its values in the order of the table's columns, by one statement. With
        `new_only`, rows whose key is there already are passed over."""
        text = (self._insert_new if new_only else self._insert)[table.name]
        if self.is_sqlite or table is entries:
            cursor.executemany(text, rows)
        elif rows:
            cursor.execute(text, list(map(list, zip(*rows, strict=True))))

    def close(self) -> None:
        """Close all connections."""
        with self._turn:
            self._drop_writer()
        self.engine.dispose()
        if self._folder is not None:
            self._folder.cleanup()

    def _drop_writer(self) -> None:
        writer, self._writer = self._writer, None
        if writer is not None:
            with contextlib.suppress(*self._errors):
                writer.invalidate()
                writer.close()

    def _insertion(self, table: Table) -> str:
        """An insert; on PostgreSQL one that takes the values of each column as an array, so that it is asked
        once and not once for each row. Not for entries: their bytes would be copied and escaped twice."""
        if self.is_sqlite or table is entries:
            return self.text(insert(table))
        names = [one.name for one in table.columns]
        arrays = [bindparam(one.name, type_=ARRAY(one.type)) for one in table.columns]
        given = func.unnest(*arrays).table_valued(*names, name="given").render_derived()
        return self.text(insert(table).from_select(names, select(*(given.c[name] for name in names))))


def _begin_alone(cursor: Cursor, *, wait: bool) -> None:
    """Begin to write once no other process does. SQLite itself looks again after pauses that soon grow to
    a tenth of a second, many times what a commit takes: two busy processes then mostly slept."""
    patience = time.monotonic() + BUSY_SECONDS
    while True:
        try:
            cursor.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > patience:
                raise
            if not wait:
                raise Busy from None
            time.sleep(_LOOK_AGAIN_SECONDS)
        else:
            return
