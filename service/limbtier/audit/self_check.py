"""Whether a log is what was signed: looked at when it is opened, and before each signature."""

from __future__ import annotations

from typing import Final

import orjson

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

REHASHED: Final = 100


def check_structure(store: EntryStore) -> None:
    """The head fits the hashes kept, no entry is missing, and the last entries hash to what is kept.

    Others may append meanwhile. Raises StoreUnavailable that says what does not fit.
    """
    head = store.head()
    size = head.size
    if list(head.peaks) != store.read_hashes(list(root_fold(size))):
        raise damaged("The head of the log does not fit its hashes.")
    count, lowest, highest = store.extent()
    last = store.last_hash_number()
    now = store.head().size
    if not size <= count <= now or (lowest, highest) != ((0, count - 1) if count else (None, None)):
        raise damaged(f"The log should have {size} entries; it has {count}, from {lowest} to {highest}.")
    if not complete_subtrees(size) <= (-1 if last is None else last) + 1 <= complete_subtrees(now):
        raise damaged(f"The log of {size} entries does not have as many hashes as its tree.")
    start = max(0, size - REHASHED)
    kept = store.read_hashes([(0, position) for position in range(start, size)])
    for entry, leaf in zip(store.entries_from(start, size), kept, strict=True):
        if leaf_hash(entry.data) != leaf or id_of(entry.data) != entry.id:
            raise damaged(f"Entry {entry.position} of the log is not as it was appended.")


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


def id_of(data: bytes) -> object:
    """The id that an entry's own bytes say."""
    try:
        record = orjson.loads(data)
    except orjson.JSONDecodeError:
        return None
    return record.get("id") if isinstance(record, dict) else None
