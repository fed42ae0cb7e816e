"""Whether decisions are found by what their entries say.

What a log proves is its entries. The rows that decisions are found by lie beside them, so each is compared
with its entry: in a list when it is shown, all of them in a backup and by `limbtier verify-index`, which also
finds those that a list lacks. They can be made anew at any time, because entries say all that is in them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

import orjson

from limbtier.domain.entry import DecidedLimb, DecisionIndex, FoundDecision
from limbtier.foundation.merkle import complete_subtrees, leaf_hash, post_order_number
from limbtier.store.entries import EntryStore, StoredEntry
from limbtier.store.faults import damaged, misfiled
from limbtier.store.search_index import (
    BlockRows,
    blocks,
    kept_rows,
    put_right,
    remove_rows_outside,
    rows_outside,
)

Progress = Callable[[int, int], None]
_NAMED: Final = 10


@dataclass(slots=True)
class IndexDifferences:
    """How many decisions are not found by what their entries say, the positions of the first of them, and how
    many rows are of positions that the log does not have. True when there is any."""

    count: int = 0
    positions: list[int] = field(default_factory=list)
    outside: int = 0

    def __bool__(self) -> bool:
        return bool(self.count or self.outside)

    def __str__(self) -> str:
        said = []
        if self.count:
            named = ", ".join(map(str, self.positions)) + (", ..." if self.count > _NAMED else "")
            said.append(
                f"Decisions that are not found by what their entries say: {self.count}, at position {named}."
            )
        if self.outside:
            said.append(f"Rows of positions that the log does not have: {self.outside}.")
        return " ".join(said)

    def add(self, positions: Iterable[int]) -> None:
        """Add positions that differ."""
        for position in sorted(positions):
            self.count += 1
            if len(self.positions) < _NAMED:
                self.positions.append(position)


def recorded_index(record: dict[str, Any]) -> DecisionIndex:
    """What a decision is found by, as its own record says it. Raises KeyError, TypeError, AttributeError or
    ValueError when it is no record of a decision."""
    return DecisionIndex(
        edition=record["edition"]["id"],
        episode=orjson.loads(record["received"]).get("episode"),
        decided_at=datetime.fromisoformat(record["decided_at"]),
        limbs=tuple(
            DecidedLimb(
                side,
                limb["tier"],
                limb["disposition"],
                tuple(reason["rule"] for reason in limb["reasons"]),
            )
            for side, limb in record["limbs"].items()
        ),
    )


def require_recorded(store: EntryStore, found: Sequence[FoundDecision], organisation: str) -> None:
    """Every decision of a list is what its entry says, and the entry is as it was appended. Raises
    StoreUnavailable."""
    entries = store.entries_at([one.position for one in found])
    for one in found:
        entry = entries.get(one.position)
        if entry is None:
            raise damaged(f"Entry {one.position} of the log is missing.")
        shown = (one.id, organisation, DecisionIndex(one.edition, one.episode, one.decided_at, one.limbs))
        if _said(entry) != shown:
            raise misfiled(f"The decision at position {one.position} is not found by what its entry says.")


class IndexComparison:
    """Compares all rows with the entries that it is given, in order and every one, block by block. With
    `repair`, rows that differ are put right at once."""

    def __init__(self, store: EntryStore, size: int, *, repair: bool = False) -> None:
        self.differences = IndexDifferences()
        self._database = store.database
        self._repair = repair
        self._blocks = blocks(size)
        self._wanted: BlockRows | None = None

    def add(self, entry: StoredEntry, record: object) -> None:
        """Take the next entry, and what its bytes say. Raises StoreUnavailable."""
        if self._wanted is None:
            self._wanted = BlockRows(*next(self._blocks))
        if isinstance(record, dict) and record.get("kind") == "decision":
            try:
                owner = _owner(record)
                self._wanted.add(entry.position, record["id"], owner, recorded_index(record))
            except (KeyError, TypeError, ValueError, AttributeError):
                raise damaged(f"Entry {entry.position} of the log is no decision, but says so.") from None
        if entry.position + 1 == self._wanted.stop:
            kept = kept_rows(self._database, self._wanted.start, self._wanted.stop)
            if differing := self._wanted.differing(kept):
                self.differences.add(differing)
                if self._repair:
                    put_right(self._database, self._wanted)
            self._wanted = None

    def finish(self) -> IndexDifferences:
        """What differed, when all entries were given. Raises StoreUnavailable."""
        self.differences.outside = rows_outside(self._database)
        if self.differences.outside and self._repair:
            remove_rows_outside(self._database)
        return self.differences


def compare_index(
    store: EntryStore, *, repair: bool = False, progress: Progress = lambda _done, _all: None
) -> IndexDifferences:
    """Compare what decisions are found by with every entry that there is now; others may append meanwhile.

    With `repair` it is put right, but never from an entry that is not as it was appended. Raises
    StoreUnavailable.
    """
    size = store.head().size
    comparison = IndexComparison(store, size, repair=repair)
    for start, stop in blocks(size):
        first, end = complete_subtrees(start), complete_subtrees(stop)
        kept = dict(enumerate(store.hashes_from(first, end), first))
        for entry in store.entries_from(start, stop):
            if leaf_hash(entry.data) != kept.get(post_order_number(0, entry.position)):
                raise damaged(f"Entry {entry.position} of the log is not as it was appended.")
            comparison.add(entry, orjson.loads(entry.data))
        progress(stop, size)
    return comparison.finish()


def _said(entry: StoredEntry) -> tuple[str, str, DecisionIndex] | None:
    """Id, organisation and what else a decision is found by, its legs as a list shows them."""
    record = orjson.loads(entry.data)
    if record["kind"] != "decision":
        return None
    index = recorded_index(record)
    limbs = tuple(sorted(index.limbs, key=lambda limb: limb.side))
    return record["id"], _owner(record), DecisionIndex(index.edition, index.episode, index.decided_at, limbs)


def _owner(record: dict[str, Any]) -> str:
    owner: str = record["caller"]["organisation"]
    return owner
