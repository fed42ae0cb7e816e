"""The rows that decisions are found by, a block of positions at a time: read, and put right.

They are not part of what the log proves. Whoever knows what the entries say compares them here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from sqlalchemy import Table, delete, func, not_, select

from limbtier.domain.entry import DecisionIndex
from limbtier.store.database import Database, Row
from limbtier.store.search import BLOCK_BITS, decision_row, limb_rows, property_rows
from limbtier.store.tables import decided_limbs, decision_blocks, decisions, log_head

_OF_POSITIONS: Final = (decisions, decided_limbs)


@dataclass(slots=True)
class BlockRows:
    """The rows for the positions from `start` up to `stop`, which lie in one block."""

    start: int
    stop: int
    decisions: set[Row] = field(default_factory=set)
    limbs: set[Row] = field(default_factory=set)
    properties: set[Row] = field(default_factory=set)

    @property
    def whole(self) -> bool:
        """Whether it is all of the block."""
        return self.stop - self.start == 1 << BLOCK_BITS

    def add(self, position: int, entry_id: str, organisation: str, decision: DecisionIndex) -> None:
        """Add the rows of a decision."""
        self.decisions.add(decision_row(entry_id, organisation, decision, position))
        self.limbs.update(limb_rows(decision, position))
        self.properties.update(property_rows(organisation, decision, position))

    def differing(self, kept: BlockRows) -> set[int]:
        """The positions whose rows are not those kept; its first one where a property of the block is
        missing, or one is kept that no decision of the whole block has."""
        found = {row[0] for row in (self.decisions ^ kept.decisions) | (self.limbs ^ kept.limbs)}
        extra = kept.properties - self.properties if self.whole else set()
        if not found and (extra or self.properties - kept.properties):
            found.add(self.start)
        return found


def blocks(size: int) -> Iterator[tuple[int, int]]:
    """From where up to where the positions of each block of a log go."""
    for start in range(0, size, 1 << BLOCK_BITS):
        yield start, min(start + (1 << BLOCK_BITS), size)


def kept_rows(database: Database, start: int, stop: int) -> BlockRows:
    """What is kept for positions of one block. Raises StoreUnavailable."""
    found, limbs = (
        database.select(select(table).where(table.c.position >= start, table.c.position < stop))
        for table in _OF_POSITIONS
    )
    of_block = decision_blocks.c.block == start >> BLOCK_BITS
    properties = database.select(select(decision_blocks).where(of_block))
    return BlockRows(start, stop, set(found), set(limbs), set(properties))


def put_right(database: Database, wanted: BlockRows) -> None:
    """Keep exactly these rows for their positions. Others may append meanwhile: what is noted of a block that
    is not whole yet is only added to. Raises StoreUnavailable."""
    start, stop = wanted.start, wanted.stop
    of_block = decision_blocks.c.block == start >> BLOCK_BITS
    with database.writing() as cursor:
        for table, rows in (decisions, wanted.decisions), (decided_limbs, wanted.limbs):
            within = (table.c.position >= start) & (table.c.position < stop)
            statement = delete(table).where(within)
            cursor.execute(database.text(statement), (start, stop))
            if rows:
                database.insert(cursor, table, sorted(rows))
        if wanted.whole:
            cursor.execute(database.text(delete(decision_blocks).where(of_block)), (start >> BLOCK_BITS,))
        if wanted.properties:
            database.insert(cursor, decision_blocks, sorted(wanted.properties), new_only=True)


def rows_outside(database: Database) -> int:
    """How many rows are of positions that the log does not have. Raises StoreUnavailable."""
    return sum(
        database.select(select(func.count()).select_from(table).where(_outside(table)))[0][0]
        for table in _OF_POSITIONS
    )


def remove_rows_outside(database: Database) -> None:
    """Remove them. Raises StoreUnavailable."""
    with database.writing() as cursor:
        for table in _OF_POSITIONS:
            cursor.execute(database.text(delete(table).where(_outside(table))), (0,))


def _outside(table: Table):  # type: ignore[no-untyped-def]
    size = select(log_head.c.size).scalar_subquery()
    return not_((table.c.position >= 0) & (table.c.position < size))
