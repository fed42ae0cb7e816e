"""Whether a log is what was signed: looked at when it is opened, and before each signature."""

from __future__ import annotations

from collections.abc import Callable
from itertools import islice
from typing import Final

import orjson

from limbtier.audit.decision_index import IndexComparison, IndexDifferences
from limbtier.foundation.merkle import (
    EMPTY_ROOT,
    Frontier,
    Read,
    complete_subtrees,
    consistency_proof,
    leaf_hash,
    root_at,
    root_fold,
    verify_consistency,
)
from limbtier.foundation.signed_note import Checkpoint
from limbtier.store.entries import EntryStore
from limbtier.store.faults import damaged
from limbtier.store.locked_log import StoredCheckpoint

REHASHED: Final = 100
_AT_ONCE: Final = 1024


def check_structure(store: EntryStore) -> None:
    """The head fits the hashes kept, no entry is missing, and the last entries hash to what is kept.

    Others may append meanwhile. Raises StoreUnavailable that says what does not fit.
    """
    head = store.head()
    size = head.size
    if list(head.peaks) != store.read_hashes(list(root_fold(size))):
        raise damaged("The head of the log does not fit its hashes.")
    last = store.last_hash_number()
    check_none_missing(store, size)
    now = store.head().size
    if not complete_subtrees(size) <= (-1 if last is None else last) + 1 <= complete_subtrees(now):
        raise damaged(f"The log of {size} entries does not have as many hashes as its tree.")
    start = max(0, size - REHASHED)
    kept = store.read_hashes([(0, position) for position in range(start, size)])
    for entry, leaf in zip(store.entries_from(start, size), kept, strict=True):
        if leaf_hash(entry.data) != leaf or _named(_read(entry.data)) != (entry.id, entry.kind):
            raise damaged(f"Entry {entry.position} of the log is not as it was appended.")


def check_none_missing(store: EntryStore, size: int) -> None:
    """There are as many entries as the log had when it was of this size, or as many more as it has now. It
    counts them all. Raises StoreUnavailable."""
    count, lowest, highest = store.extent()
    now = store.head().size
    if not size <= count <= now or (lowest, highest) != ((0, count - 1) if count else (None, None)):
        raise damaged(f"The log should have {size} entries; it has {count}, from {lowest} to {highest}.")


def check_whole(
    store: EntryStore,
    progress: Callable[[int, int], None] = lambda _done, _all: None,
    *,
    repair: bool = False,
) -> tuple[Frontier, IndexDifferences]:
    """Make the whole tree anew from the entries, and compare it with all that is kept. Returns its edge, and
    what differs in what decisions are found by, which is put right with `repair`.

    Nobody may append meanwhile. `progress` is told how many entries of how many are done. Raises
    StoreUnavailable that says what does not fit.
    """
    check_structure(store)
    head = store.head()
    frontier, index = Frontier(), IndexComparison(store, head.size, repair=repair)
    signed = {one.size: one for one in store.checkpoints()}
    if any(size > head.size for size in signed):
        raise damaged(f"A checkpoint is over {max(signed)} entries, but the log has {head.size}.")
    for start in range(0, head.size, _AT_ONCE):
        stop = min(start + _AT_ONCE, head.size)
        kept = iter(store.hashes_from(complete_subtrees(start), complete_subtrees(stop)))
        for entry in store.entries_from(start, stop):
            _require_root(signed.get(entry.position), frontier)
            completed = [found for _, _, found in frontier.add(leaf_hash(entry.data))]
            record = _read(entry.data)
            if completed != list(islice(kept, len(completed))) or _named(record) != (entry.id, entry.kind):
                raise damaged(f"Entry {entry.position} of the log is not as it was appended.")
            index.add(entry, record)
        progress(stop, head.size)
    _require_root(signed.get(head.size), frontier)
    if frontier.peaks != head.peaks:
        raise damaged("The head of the log does not fit its entries.")
    return frontier, index.finish()


def check_continues(head: Frontier, signed: Checkpoint, read: Read, which: str) -> None:
    """The log, as it is now, continues the one that was signed. Raises StoreUnavailable."""
    if signed.size > head.size:
        raise damaged(
            f"{which} is over {signed.size} entries, but the log has {head.size}: entries were lost, "
            "or its database was set back or replaced."
        )
    if signed.size == 0:
        continues = signed.root == EMPTY_ROOT
    else:
        proof = consistency_proof(signed.size, head.size, read)
        continues = root_at(signed.size, read) == signed.root and verify_consistency(
            signed.size, head.size, signed.root, head.root(), proof
        )
    if not continues:
        raise damaged(f"The log does not continue what {which.lower()}, over {signed.size} entries, signs.")


def _require_root(signed: StoredCheckpoint | None, frontier: Frontier) -> None:
    if signed is not None and signed.root != frontier.root():
        raise damaged(f"The first {signed.size} entries do not have the root of the checkpoint over them.")


def _read(data: bytes) -> object:
    """What an entry's own bytes say; None when they are no JSON."""
    try:
        return orjson.loads(data)
    except orjson.JSONDecodeError:
        return None


def _named(record: object) -> object:
    """The id and the kind that an entry has by its own bytes."""
    return (record.get("id"), record.get("kind")) if isinstance(record, dict) else None
