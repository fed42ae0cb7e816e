"""Writes into the log which editions decide here, once for each edition and status."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final, Protocol

from limbtier.domain.edition import Edition
from limbtier.domain.entry import Entry
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.clock import Clock, now
from limbtier.store.faults import Conflict

SERVICE: Final = "service"
"""Who acts when the service does something by itself, in the log."""
_KINDS: Final = {"released": "edition_released", "retired": "edition_retired"}


class Entries(Protocol):
    """Where it is seen whether an entry is there."""

    def entry_by_id(self, entry_id: str) -> object | None:
        """The entry with an id, or None."""


def record_editions(
    editions: Iterable[Edition], entries: Entries, append: Callable[[Entry], object], clock: Clock = now
) -> int:
    """Append an entry for each released and each retired edition of which the log does not know; how many
    were appended. Several workers may do so at once. Raises StoreUnavailable."""
    appended = 0
    for edition in editions:
        kind = _KINDS.get(edition.status)
        if kind is None:
            continue
        entry_id = entry_id_of(kind, edition.id, edition.digest)
        if entries.entry_by_id(entry_id) is not None:
            continue
        at = clock()
        record = {
            "at": at.isoformat(),
            "caller": {"id": SERVICE, "organisation": None},
            "digest": edition.digest,
            "edition": edition.id,
            "id": entry_id,
            "kind": kind,
        }
        try:
            append(Entry(kind, entry_id, None, at, canonical(record)))
            appended += 1
        except Conflict:  # another worker was first
            continue
    return appended


def entry_id_of(kind: str, edition: str, digest: str) -> str:
    """The id of the one entry that says that an edition was released or retired."""
    return f"{kind}:{edition}:{digest.removeprefix('sha256:')[:32]}"
