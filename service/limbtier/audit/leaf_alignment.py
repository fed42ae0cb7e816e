"""Entries laid beside the list of leaf hashes, so that a changed, lost, added or moved entry is named.

Where the two differ, a window of both is searched for the next hash they share. The list itself proves
nothing: which side was changed is said only by a signed root.
"""

from __future__ import annotations

import re
from collections import deque
from dataclasses import dataclass
from io import SEEK_END
from typing import BinaryIO, Final, Literal

from limbtier.foundation.merkle import HASH_BYTES, Frontier

RECORD_BYTES: Final = 2 * HASH_BYTES + 1
WINDOW: Final = 64
MOST_DIFFERENCES: Final = 1000
_RECORD: Final = re.compile(rb"[0-9a-f]{64}\n")

Kind = Literal["changed", "missing", "added", "moved"]


@dataclass(frozen=True, slots=True)
class Place:
    """Where an entry stands in the export; its id where it could be read. An entry that is not there has a
    position only."""

    position: int
    file: str | None
    line: int | None
    id: str | None


@dataclass(frozen=True, slots=True)
class Difference:
    """One difference. `listed` is the line of the list, from 0; `entry` is where the entry stands. One of
    them is None for what stands on the other side only. `readable`: whether the line is a hash at all.
    `count`: how many lines of the list, from `listed` on, have no entry."""

    kind: Kind
    listed: int | None
    entry: Place | None
    readable: bool = True
    count: int = 1


class LeafAlignment:
    """Compares the entries, given one after the other, with the list in a file."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._lines = -(-file.seek(0, SEEK_END) // RECORD_BYTES)
        file.seek(0)
        self._read = 0
        self._entries: deque[tuple[bytes, Place]] = deque()
        self._listed: deque[tuple[bytes, int]] = deque()
        self._found: list[Difference] = []
        self._missing: dict[bytes, int] = {}
        self._added: dict[bytes, Place] = {}
        self._maybe_next: int | None = None
        self.given_up = False

    def hint(self, line: int) -> None:
        """Say that the next entry claims to stand at this line of the list; believed only if it does."""
        if not self.given_up:
            self._settle(0)
            self._maybe_next = line

    def add(self, leaf: bytes, place: Place) -> None:
        """The next entry, by its leaf hash."""
        if self.given_up:
            return
        record = leaf.hex().encode() + b"\n"
        if self._maybe_next is not None:
            self._jump(self._maybe_next, record)
        if not self._entries and not self._listed and self._read < self._lines:
            listed = self._next()
            if listed[0] == record:
                return
            self._listed.append(listed)
        self._entries.append((record, place))
        self._settle(WINDOW)

    def finish(self) -> list[Difference]:
        """All differences, in the order of the list, after the last entry was added."""
        if not self.given_up:
            self._settle(0)
            if self._added:  # one of them may have been moved from the end
                self._fill(WINDOW)
                self._missing |= dict(self._listed)
        for record, place in self._added.items():
            listed_at = self._missing.pop(record, None)
            kind: Kind = "added" if listed_at is None else "moved"
            self._found.append(Difference(kind, listed_at, place))
        self._found += [Difference("missing", number, None) for number in self._missing.values()]
        if not self.given_up and self._read < self._lines:
            self._found.append(Difference("missing", self._read, None, count=self._lines - self._read))
        return sorted(self._found, key=_order)

    def _next(self) -> tuple[bytes, int]:
        """The next record of the list and its line."""
        self._read += 1
        return self._file.read(RECORD_BYTES), self._read - 1

    def _fill(self, enough: int) -> None:
        while len(self._listed) < enough and self._read < self._lines:
            self._listed.append(self._next())

    def _jump(self, line: int, record: bytes) -> None:
        """Go on at a later line of the list if this record stands there."""
        self._maybe_next = None
        if self._entries or self._listed or not self._read < line < self._lines:
            return
        self._file.seek(line * RECORD_BYTES)
        if self._file.read(RECORD_BYTES) == record:
            self._found.append(Difference("missing", self._read, None, count=line - self._read))
            self._read = line
        self._file.seek(self._read * RECORD_BYTES)

    def _settle(self, enough: int) -> None:
        """Take from both windows what agrees, and what differs once they hold enough to tell how."""
        while self._entries:
            self._fill(len(self._entries))
            if self._listed and self._entries[0][0] == self._listed[0][0]:
                self._entries.popleft()
                self._listed.popleft()
                continue
            if enough and len(self._entries) < enough:
                return
            self._fill(len(self._entries) + WINDOW)
            self._take_difference()
            if len(self._found) + len(self._missing) + len(self._added) > MOST_DIFFERENCES:
                self.given_up = True
                return
        if not enough and self._listed:  # read ahead, and no entry is left for them
            self._read -= len(self._listed)
            self._file.seek(self._read * RECORD_BYTES)
            self._listed.clear()

    def _take_difference(self) -> None:
        lost = _ahead(self._entries[0][0], self._listed)
        extra = _ahead(self._listed[0][0], self._entries) if self._listed else len(self._entries)
        if lost is not None and (extra is None or lost <= extra):
            for _ in range(lost):
                record, number = self._listed.popleft()
                self._missing[record] = number
        elif extra is not None:
            for _ in range(extra):
                entry, place = self._entries.popleft()
                self._added[entry] = place
        else:
            _, place = self._entries.popleft()
            record, number = self._listed.popleft()
            self._found.append(Difference("changed", number, place, bool(_RECORD.fullmatch(record))))


def _ahead(record: bytes, others: deque[tuple[bytes, int]] | deque[tuple[bytes, Place]]) -> int | None:
    """How many of the others come before one that is this record; None when none of them is."""
    return next((number for number, other in enumerate(others) if other[0] == record), None)


def listed_root(file: BinaryIO, size: int) -> bytes | None:
    """The root over the first `size` leaf hashes of the list; None when it has fewer, or one is no hash."""
    frontier = Frontier()
    file.seek(0)
    for _ in range(size):
        record = file.read(RECORD_BYTES)
        if not _RECORD.fullmatch(record):
            return None
        frontier.add(bytes.fromhex(record[:-1].decode("ascii")))
    return frontier.root()


def _order(one: Difference) -> int:
    if one.listed is not None:
        return one.listed
    return one.entry.position if one.entry is not None else 0
