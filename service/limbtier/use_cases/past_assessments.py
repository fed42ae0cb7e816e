"""Where past assessments come from: a file with one a line, or the log. Both are read in portions, each by
whichever process works on it, so that nothing large goes from one process to another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final, NamedTuple, Protocol

from limbtier.domain.entry import DecisionFilter
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database

DECISIONS_PATH: Final = "/v1/decisions/"
_PORTION_BYTES: Final = 4_000_000
_PORTION_DECISIONS: Final = 128
_PAGE: Final = 1000
# Entries of others between two wanted ones are read with them where they are few.
_WIDEST_GAP: Final = 4


class PastAssessment(NamedTuple):
    """An assessment, or a decision record, as its bytes. `reference` says which, `link` where it is found on
    the service; a line of a file has none until its own id is read."""

    reference: str
    link: str | None
    data: bytes


class Portion(Protocol):
    """A part of what is to be read; it goes to another process as it is."""

    @property
    def share(self) -> float:
        """How much of the whole, from 0 to 1, is done once this portion is."""

    def read(self) -> Iterator[PastAssessment]:
        """What it holds, in order. Raises OSError or StoreUnavailable."""


class PastAssessments(Protocol):
    """All that is to be read."""

    def portions(self) -> Iterator[Portion]:
        """Its portions, in order. Raises OSError or StoreUnavailable."""


@dataclass(frozen=True, slots=True)
class FilePortion:
    """Whole lines of a file, from a byte up to another."""

    file: Path
    start: int
    end: int
    first_line: int
    share: float

    def read(self) -> Iterator[PastAssessment]:
        """Every line that is not empty."""
        with self.file.open("rb") as opened:
            opened.seek(self.start)
            data = opened.read(self.end - self.start)
        for number, line in enumerate(data.split(b"\n"), self.first_line):
            if line.strip():
                yield PastAssessment(f"line {number}", None, line)


@dataclass(frozen=True, slots=True)
class LinesOfFile:
    """A file with an assessment or a decision record a line."""

    file: Path
    portion_bytes: int = _PORTION_BYTES

    def portions(self) -> Iterator[FilePortion]:
        """Portions of about `portion_bytes`, each of whole lines."""
        size = self.file.stat().st_size
        with self.file.open("rb") as opened:
            start, line = 0, 1
            while block := opened.read(self.portion_bytes):
                rest = opened.readline()
                end = start + len(block) + len(rest)
                yield FilePortion(self.file, start, end, line, end / size)
                start, line = end, line + block.count(b"\n") + rest.count(b"\n")


@dataclass(frozen=True, slots=True)
class LogPortion:
    """Decisions of the log at some positions, in order."""

    database: str
    positions: tuple[int, ...]
    share: float

    def read(self) -> Iterator[PastAssessment]:
        """Every one of them."""
        store, wanted = _store(self.database), frozenset(self.positions)
        for start, stop in _runs(self.positions):
            for entry in store.entries_from(start, stop):
                if entry.position in wanted:
                    yield PastAssessment(entry.id, DECISIONS_PATH + entry.id, entry.data)


@dataclass(frozen=True, slots=True)
class DecisionsOfLog:
    """Decisions of the log that fit a filter; `database` as settings name it."""

    database: str
    wanted: DecisionFilter

    def portions(self) -> Iterator[LogPortion]:
        """Portions of so many decisions, oldest first."""
        positions = self._positions()
        for first in range(0, len(positions), _PORTION_DECISIONS):
            some = positions[first : first + _PORTION_DECISIONS]
            yield LogPortion(self.database, tuple(some), (first + len(some)) / len(positions))

    def _positions(self) -> list[int]:
        store, found = _store(self.database), list[int]()
        before: int | None = None
        while page := store.find_decisions(self.wanted, before, _PAGE):
            found += [one.position for one in page]
            before = page[-1].position
        return found[::-1]


def _runs(positions: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Ranges that hold all positions, without wide gaps."""
    start = last = positions[0]
    for position in positions[1:]:
        if position - last > _WIDEST_GAP:
            yield start, last + 1
            start = position
        last = position
    yield start, last + 1


@lru_cache(maxsize=1)
def _store(database: str) -> EntryStore:
    """The log, opened once in a process."""
    return EntryStore(open_database(database, make=False))
