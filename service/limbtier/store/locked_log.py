"""The log while one writer has it for itself: what is appended, and what is signed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlalchemy import ColumnClause, bindparam, func, literal_column, select, update

from limbtier.domain.entry import Entry
from limbtier.foundation.merkle import (
    HASH_BYTES,
    Frontier,
    Subtree,
    complete_subtrees,
    leaf_hash,
    post_order_number,
)
from limbtier.store.database import Cursor, Database, Row
from limbtier.store.faults import damaged
from limbtier.store.packing import packed
from limbtier.store.search import decision_row, limb_rows, property_rows
from limbtier.store.tables import (
    checkpoints,
    decided_limbs,
    decision_blocks,
    decisions,
    entries,
    hashes,
    log_head,
    microseconds,
    moment_of,
    retries,
)

_ONE: Final[ColumnClause[int]] = literal_column("1")


@dataclass(frozen=True, slots=True)
class StoredCheckpoint:
    """A checkpoint that was signed: the size and root it says, and the whole note."""

    size: int
    root: bytes
    note: str
    signed_at: datetime


class Statements:
    """The texts of what is asked again and again, written once for a database."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._hashes: dict[int, str] = {}
        head = select(log_head.c.size, log_head.c.peaks).where(log_head.c.row == _ONE)
        # SQLite has no such lock, and needs none: a writer has the whole file.
        self.lock_head = database.text(head.with_for_update())
        self.head = database.text(head)
        self.move_head = database.text(
            update(log_head)
            .values(size=bindparam("new_size"), peaks=bindparam("new_peaks"))
            .where(log_head.c.row == _ONE)
        )
        largest = select(func.max(checkpoints.c.size)).scalar_subquery()
        self.last_checkpoint = database.text(select(checkpoints).where(checkpoints.c.size == largest))
        self.checkpoint_at = database.text(select(checkpoints).where(checkpoints.c.size == bindparam("at")))

    def hashes(self, count: int) -> str:
        """Reads so many hashes by their numbers."""
        text = self._hashes.get(count)
        if text is None:
            wanted = hashes.c.number.in_([0] * count)
            text = self._database.text(select(hashes.c.number, hashes.c.hash).where(wanted))
            self._hashes[count] = text
        return text


class LockedLog:
    """The log in one writer's transaction; made by `EntryStore.locked`. Nobody else appends or signs until
    it ends. `noted` are rows of `decision_blocks` that are known to be there."""

    def __init__(
        self, database: Database, cursor: Cursor, statements: Statements, noted: frozenset[Row] | set[Row]
    ) -> None:
        self._database = database
        self._statements = statements
        self._noted = noted
        self._cursor = cursor
        self.newly_noted: set[Row] = set()
        cursor.execute(statements.lock_head)
        self.frontier = frontier_of(cursor.fetchone())

    def append(self, new: Sequence[Entry], kept: Sequence[bytes] | None = None) -> list[int]:
        """Append entries, all that they are found by, and what changes with them. Returns their positions.
        `kept` are their bytes as they are to lie in the database, if worked out before the log was locked."""
        if kept is None:
            kept = [packed(entry.data) for entry in new]
        frontier = self.frontier
        first = frontier.size
        number = complete_subtrees(first)
        rows: list[Row] = []
        hash_rows: list[Row] = []
        decision_rows: list[Row] = []
        leg_rows: list[Row] = []
        retry_rows: list[Row] = []
        properties: set[Row] = set()
        for position, (entry, data) in enumerate(zip(new, kept, strict=True), first):
            organisation, decision, retry = entry.organisation, entry.decision, entry.retry
            rows.append((position, entry.id, entry.kind, organisation, microseconds(entry.at), data))
            for _, _, found in frontier.add(leaf_hash(entry.data)):
                hash_rows.append((number, found))
                number += 1
            if decision is not None and organisation is not None:
                decision_rows.append(decision_row(entry.id, organisation, decision, position))
                leg_rows += limb_rows(decision, position)
                properties.update(property_rows(organisation, decision, position))
            if retry is not None:
                retry_rows.append((retry.caller, retry.key, retry.payload, position))
        cursor, insert = self._cursor, self._database.insert
        insert(cursor, entries, rows)
        insert(cursor, hashes, hash_rows)
        cursor.execute(self._statements.move_head, (frontier.size, b"".join(frontier.peaks)))
        for table, some in (decisions, decision_rows), (decided_limbs, leg_rows), (retries, retry_rows):
            if some:
                insert(cursor, table, some)
        if fresh := properties - self._noted - self.newly_noted:
            insert(cursor, decision_blocks, list(fresh), new_only=True)
            self.newly_noted |= fresh
        for position, entry in enumerate(new, first):
            if entry.also is not None:
                entry.also(cursor, position)
        return list(range(first, frontier.size))

    def rewrite_head(self) -> None:
        """Write the head as it is. SQLite passes over a write that changes nothing: it is changed first."""
        head = b"".join(self.frontier.peaks)
        self._cursor.execute(self._statements.move_head, (-1, head))
        self._cursor.execute(self._statements.move_head, (self.frontier.size, head))

    def read_hashes(self, wanted: list[Subtree]) -> list[bytes]:
        """The hashes of complete subtrees, in the order asked. Raises StoreUnavailable if one is missing."""
        return read_hashes(self._cursor, self._statements, wanted)

    def last_checkpoint(self) -> StoredCheckpoint | None:
        """The checkpoint of the largest size."""
        self._cursor.execute(self._statements.last_checkpoint)
        return checkpoint_of(self._cursor.fetchone())

    def add_checkpoint(self, new: StoredCheckpoint) -> None:
        """Keep a checkpoint. Raises Conflict when there is one of that size."""
        row = (new.size, new.root, new.note, microseconds(new.signed_at))
        self._database.insert(self._cursor, checkpoints, [row])


def frontier_of(row: Row | None) -> Frontier:
    """The right edge of the tree, as it is kept. Raises StoreUnavailable when it cannot be one."""
    if row is None:
        raise damaged("The head of the log is missing.")
    size, peaks = row
    try:
        return Frontier(size, [peaks[i : i + HASH_BYTES] for i in range(0, len(peaks), HASH_BYTES)])
    except (TypeError, ValueError) as error:
        raise damaged(f"The head of the log does not fit itself: {error}.") from None


def read_hashes(cursor: Cursor, statements: Statements, wanted: list[Subtree]) -> list[bytes]:
    """The hashes of complete subtrees, in the order asked. Raises StoreUnavailable when one is missing."""
    numbers = [post_order_number(level, index) for level, index in wanted]
    if not numbers:
        return []
    cursor.execute(statements.hashes(len(numbers)), numbers)
    found = dict(map(tuple, cursor.fetchall()))
    missing = [place for place, number in zip(wanted, numbers, strict=True) if number not in found]
    if missing:
        raise damaged(f"A hash of the log is missing: that of level {missing[0][0]}, index {missing[0][1]}.")
    return [found[number] for number in numbers]


def checkpoint_of(row: Row | None) -> StoredCheckpoint | None:
    """A checkpoint as it is kept."""
    return None if row is None else StoredCheckpoint(row[0], row[1], row[2], moment_of(row[3]))
