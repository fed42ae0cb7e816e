"""The entries of the log, the hashes of its tree, and its checkpoints, in a database."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlalchemy import bindparam, func, literal_column, select

from limbtier.domain.entry import DecisionFilter, Entry, FoundDecision, Retry
from limbtier.foundation.errors import StoreUnavailable
from limbtier.foundation.merkle import Frontier, Subtree, leaf_hash, post_order_number
from limbtier.store.database import Database, Row
from limbtier.store.faults import Conflict, damaged, fault
from limbtier.store.locked_log import (
    LockedLog,
    Statements,
    StoredCheckpoint,
    checkpoint_of,
    frontier_of,
    read_hashes,
)
from limbtier.store.packing import packed, unpacked
from limbtier.store.search import find_decisions
from limbtier.store.tables import checkpoints, decisions, entries, hashes, moment_of, retries

_AT_ONCE: Final = 64  # entries read together: about 3 MB
_MOST_NOTED: Final = 20_000


class _TakenBack(Exception):
    """Ends a transaction of which nothing is to be kept."""


class RetryKeyTaken(Exception):
    """Retry keys of a batch that were used before; nothing of the batch was written."""

    def __init__(self, taken: Sequence[Retry]) -> None:
        self.taken = tuple(taken)
        super().__init__(f"{len(self.taken)} retry keys were used before")


@dataclass(frozen=True, slots=True)
class StoredEntry:
    """An entry as it is kept; `data` is exactly what was appended."""

    position: int
    id: str
    kind: str
    organisation: str | None
    data: bytes


@dataclass(frozen=True, slots=True)
class StoredRetry:
    """Where the answer to a retry key stands, and the SHA-256 of the request that it was used for."""

    payload: bytes
    position: int


class EntryStore:
    """One append-only log. Several threads and several processes may use it at once.

    Every method raises StoreUnavailable.
    """

    def __init__(self, database: Database) -> None:
        self.database = database
        self._statements = statements = Statements(database)
        self._seen = Frontier()
        self._write_failed = False
        self._noted: set[Row] = set()
        entry = select(
            entries.c.position, entries.c.id, entries.c.kind, entries.c.organisation, entries.c.data
        )
        text = database.text
        self._by_position = text(entry.where(entries.c.position == bindparam("position")))
        self._by_id = text(entry.where(entries.c.id == bindparam("id")))
        # The second test lets the index of entries that are no decisions be used.
        self._of_kind = text(
            entry.where(
                entries.c.kind == bindparam("kind"),
                entries.c.kind != literal_column("'decision'"),
                entries.c.organisation == bindparam("organisation"),
            ).order_by(entries.c.position)
        )
        self._range = text(
            entry.where(
                entries.c.position >= bindparam("start"), entries.c.position < bindparam("stop")
            ).order_by(entries.c.position)
        )
        self._extent = text(
            # Apart, because each alone is answered from an index; together they read every row.
            select(
                *(
                    select(what).select_from(entries).scalar_subquery()
                    for what in (func.count(), func.min(entries.c.position), func.max(entries.c.position))
                )
            )
        )
        self._retry = text(
            select(retries.c.payload, retries.c.position).where(
                retries.c.caller == bindparam("caller"), retries.c.key == bindparam("key")
            )
        )
        self._time = text(select(entries.c.at).where(entries.c.position == bindparam("position")))
        self._checkpoints = text(select(checkpoints).order_by(checkpoints.c.size))
        self._hash_range = text(
            select(hashes.c.hash)
            .where(hashes.c.number >= bindparam("start"), hashes.c.number < bindparam("stop"))
            .order_by(hashes.c.number)
        )
        self._decisions = text(select(func.count()).select_from(decisions))
        self._last_hash = text(select(func.max(hashes.c.number)))
        self._one_hash = statements.hashes(1)

    def append(self, new: Sequence[Entry], *, wait: bool = True) -> list[int]:
        """Append a batch in one transaction: all of it is on the disk when this returns, or nothing is kept.

        Returns the positions. Raises RetryKeyTaken, naming which, and Conflict for an id that is there.
        Without `wait` it raises Busy while somebody else writes.
        """
        kept = [packed(entry.data) for entry in new]
        try:
            with self.locked(wait=wait) as log:
                return log.append(new, kept)
        except Conflict:
            self._refuse_taken(new)
            raise
        except StoreUnavailable:
            self._write_failed = True
            raise

    @contextmanager
    def locked(self, *, wait: bool = True) -> Iterator[LockedLog]:
        """The log in one transaction, while nobody else can append or sign. Without `wait` it raises Busy
        while somebody else does.

        Raises StoreUnavailable when the log is shorter than it was or another one: its file was replaced.
        """
        with self.database.writing(wait=wait) as cursor:
            log = LockedLog(self.database, cursor, self._statements, self._noted)
            size, peaks = log.frontier.size, log.frontier.peaks
            if size < self._seen.size or (size == self._seen.size and peaks != self._seen.peaks):
                raise damaged(
                    f"The log had {self._seen.size} entries and now has {size}"
                    f"{'' if size < self._seen.size else ' other ones'}: its database was replaced."
                )
            yield log
        self._seen = log.frontier
        if log.newly_noted:
            self._noted = log.newly_noted | (self._noted if len(self._noted) < _MOST_NOTED else set())

    def head(self) -> Frontier:
        """The size of the log and the right edge of its tree."""
        return frontier_of(next(iter(self.database.rows(self._statements.head)), None))

    def last_at(self) -> datetime | None:
        """The moment of the last entry; None while there is none."""
        rows = self.database.rows(self._time, self.head().size - 1)
        return moment_of(rows[0][0]) if rows else None

    def extent(self) -> tuple[int, int | None, int | None]:
        """How many entries are kept, and the lowest and highest position."""
        count, lowest, highest = self.database.rows(self._extent)[0]
        return count, lowest, highest

    def last_hash_number(self) -> int | None:
        """The number of the last hash kept."""
        found: int | None = self.database.rows(self._last_hash)[0][0]
        return found

    def entry(self, position: int) -> StoredEntry | None:
        """The entry at a position, or None. Refuses one whose bytes are not those that were appended."""
        return self._checked(self.database.rows(self._by_position, position))

    def entry_by_id(self, entry_id: str) -> StoredEntry | None:
        """The entry with an id, or None. Refuses one whose bytes are not those that were appended."""
        return self._checked(self.database.rows(self._by_id, entry_id))

    def entries_at(self, positions: Sequence[int]) -> dict[int, StoredEntry]:
        """The entries at these positions, as far as they are there. Refuses one whose bytes are not those
        that were appended."""
        if not positions:
            return {}
        columns = entries.c
        rows = self.database.select(
            select(columns.position, columns.id, columns.kind, columns.organisation, columns.data).where(
                columns.position.in_(positions)
            )
        )
        found = [_stored(row) for row in rows]
        for one, kept in zip(found, self.read_hashes([(0, one.position) for one in found]), strict=True):
            if kept != leaf_hash(one.data):
                raise _altered(one.position)
        return {one.position: one for one in found}

    def entries_from(self, start: int, stop: int) -> Iterator[StoredEntry]:
        """Every entry from a position up to another, in order; memory stays flat. Refuses a gap, but does not
        compare bytes with hashes: whoever reads a whole log makes its tree anew. What cannot be unpacked any
        more comes out empty, so that a damaged log can still be exported and looked into."""
        for first in range(start, stop, _AT_ONCE):
            rows = self.database.rows(self._range, first, min(first + _AT_ONCE, stop))
            for position, row in enumerate(rows, first):
                if row[0] != position:
                    raise damaged(f"Entry {position} of the log is missing.")
                yield _stored(row)
            if len(rows) != min(first + _AT_ONCE, stop) - first:
                raise damaged(f"Entry {first + len(rows)} of the log is missing.")

    def entries_of_kind(self, kind: str, organisation: str) -> list[StoredEntry]:
        """The entries of an organisation of a kind other than `decision`, in order. Like `entries_from`, it
        does not compare bytes with hashes."""
        return [_stored(row) for row in self.database.rows(self._of_kind, kind, organisation)]

    def read_hashes(self, wanted: list[Subtree]) -> list[bytes]:
        """The hashes of complete subtrees, in the order asked, with one statement."""
        with self.database.reading() as cursor:
            return read_hashes(cursor, self._statements, wanted)

    def hashes_from(self, start: int, stop: int) -> list[bytes]:
        """The hashes with numbers from one up to another, in order; fewer where some are missing."""
        return [row[0] for row in self.database.rows(self._hash_range, start, stop)]

    def count_decisions(self) -> int:
        """How many decisions can be found."""
        found: int = self.database.rows(self._decisions)[0][0]
        return found

    def find_decisions(
        self, wanted: DecisionFilter, before: int | None, limit: int
    ) -> Sequence[FoundDecision]:
        """Decisions that fit, the newest position first, only those at positions lower than `before`."""
        return find_decisions(self.database, wanted, before, limit)

    def find_retry(self, caller: str, key: str) -> StoredRetry | None:
        """What a caller used a retry key for, or None."""
        rows = self.database.rows(self._retry, caller, key)
        return StoredRetry(*rows[0]) if rows else None

    def last_checkpoint(self) -> StoredCheckpoint | None:
        """The checkpoint of the largest size, or None."""
        return checkpoint_of(next(iter(self.database.rows(self._statements.last_checkpoint)), None))

    def checkpoint_at(self, size: int) -> StoredCheckpoint | None:
        """The checkpoint of a size, or None."""
        return checkpoint_of(next(iter(self.database.rows(self._statements.checkpoint_at, size)), None))

    def checkpoints(self) -> list[StoredCheckpoint]:
        """All checkpoints, the smallest size first."""
        return [found for row in self.database.rows(self._checkpoints) if (found := checkpoint_of(row))]

    def check_writable(self) -> None:
        """Write the head of the log as it is, and take it back again. After an append that failed it is
        committed instead: only the disk itself says whether it is still full."""
        try:
            with self.locked() as log:
                log.rewrite_head()
                if not self._write_failed:
                    raise _TakenBack
        except _TakenBack:
            return
        self._write_failed = False

    def close(self) -> None:
        """Close the database."""
        self.database.close()

    def _checked(self, rows: list[Row]) -> StoredEntry | None:
        if not rows:
            return None
        found = _stored(rows[0])
        kept = self.database.rows(self._one_hash, post_order_number(0, found.position))
        if not kept or kept[0][1] != leaf_hash(found.data):
            raise _altered(found.position)
        return found

    def _refuse_taken(self, new: Sequence[Entry]) -> None:
        used = [entry.retry for entry in new if entry.retry is not None]
        names = [(retry.caller, retry.key) for retry in used]
        taken = [
            retry
            for retry, name in zip(used, names, strict=True)
            if names.count(name) > 1 or self.find_retry(*name) is not None
        ]
        if taken:
            raise RetryKeyTaken(taken) from None
        if any(self.database.rows(self._by_id, entry.id) for entry in new):
            raise Conflict(fault("An entry with this id is in the log already.").diagnostics) from None


def _altered(position: int) -> StoreUnavailable:
    return damaged(f"Entry {position} of the log is not as it was appended.")


def _stored(row: Row) -> StoredEntry:
    position, entry_id, kind, organisation, kept = row
    data = unpacked(kept) if isinstance(kept, bytes) else None
    return StoredEntry(position, entry_id, kind, organisation, data or b"")
