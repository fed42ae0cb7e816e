"""Decisions in one SQLite file: written durably before they are given, never changed."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import StoreUnavailable

_SCHEMA = """
CREATE TABLE IF NOT EXISTS decisions (
    id TEXT PRIMARY KEY NOT NULL,
    edition TEXT NOT NULL,
    decided_at TEXT NOT NULL,
    record BLOB NOT NULL
) STRICT;
"""


class DecisionStore:
    """One connection to one file, shared by threads under a lock."""

    def __init__(self, file: Path) -> None:
        """Open or make the file. Raises StoreUnavailable."""
        self._lock = threading.Lock()
        with _as_unavailable("opened"):
            self._connection = sqlite3.connect(file, check_same_thread=False, isolation_level=None, timeout=5)
            self._connection.execute("PRAGMA journal_mode = WAL")
            self._connection.execute("PRAGMA synchronous = FULL")
            self._connection.execute(_SCHEMA)

    def append(self, decision_id: str, edition: str, decided_at: datetime, record: bytes) -> None:
        """Keep a record; when this returns it is on the disk. Raises StoreUnavailable."""
        with self._lock, _as_unavailable("written"):
            self._connection.execute(
                "INSERT INTO decisions (id, edition, decided_at, record) VALUES (?, ?, ?, ?)",
                (decision_id, edition, decided_at.isoformat(), record),
            )

    def read(self, decision_id: str) -> bytes | None:
        """The record as it was given, or None. Raises StoreUnavailable."""
        with self._lock, _as_unavailable("read"):
            row = self._connection.execute(
                "SELECT record FROM decisions WHERE id = ?", (decision_id,)
            ).fetchone()
        return None if row is None else bytes(row[0])

    def count(self) -> int:
        """How many decisions are kept. Raises StoreUnavailable."""
        with self._lock, _as_unavailable("read"):
            return int(self._connection.execute("SELECT count(*) FROM decisions").fetchone()[0])

    def check_writable(self) -> None:
        """Take the right to write, and write nothing. Raises StoreUnavailable."""
        with self._lock, _as_unavailable("written"):
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.execute("ROLLBACK")

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            self._connection.close()


@contextmanager
def _as_unavailable(verb: str) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        raise StoreUnavailable(
            [
                Diagnostic(
                    "store-unavailable",
                    f"The store of decisions could not be {verb}: {error}.",
                    "Nothing was decided. Try again; if it stays, tell whoever runs the service.",
                )
            ]
        ) from None
