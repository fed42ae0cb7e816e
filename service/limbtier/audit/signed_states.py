"""The signed checkpoints that an export is compared with: its own, its list of them, and the auditor's."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.signed_note import MOST_NOTE_BYTES, Checkpoint, InvalidNote

EXPECTED: Final = "the expected checkpoint"


@dataclass(frozen=True, slots=True)
class SignedState:
    """A checkpoint as a note says it; its signature has not been looked at yet. `file` and `line` say where
    it was read."""

    note: bytes
    checkpoint: Checkpoint
    file: str
    line: int | None = None


def signed_state(note: bytes, file: str, line: int | None = None) -> SignedState:
    """The checkpoint that a note says. Raises InvalidNote when it says none."""
    try:
        text = note.partition(b"\n\n")[0].decode("utf-8")
    except UnicodeDecodeError:
        message = "The checkpoint is not UTF-8."
        help_text = "Take the checkpoint as it was published."
        raise InvalidNote([Diagnostic("invalid-note", message, help_text)]) from None
    return SignedState(note, Checkpoint.read(text + "\n"), file, line)


def read_expected(path: Path) -> SignedState:
    """The checkpoint that an auditor kept. Raises InvalidNote when the file holds none, OSError."""
    with path.open("rb") as file:
        note = file.read(MOST_NOTE_BYTES + 1)
    try:
        return signed_state(note, EXPECTED)
    except InvalidNote as error:
        message = f"The file holds no checkpoint. {error.diagnostics[0].message}"
        help_text = "Give the file with the signed checkpoint that you kept, as the service answered it."
        raise InvalidNote([Diagnostic("invalid-note", message, help_text, file=str(path))]) from None


def notes_of(file: BinaryIO) -> Iterator[tuple[int, bytes]]:
    """Each note of a list, with the line where it begins. A note is a text, an empty line and signatures; an
    empty line stands between two notes."""
    begins, line, empty = 1, 0, 0
    note = bytearray()
    while data := file.readline(MOST_NOTE_BYTES):
        line += 1
        empty += data == b"\n"
        if empty == 2:
            yield begins, bytes(note)
            begins, empty = line + 1, 0
            note.clear()
            continue
        note += data
        if len(note) > MOST_NOTE_BYTES:
            break  # whoever opens it refuses it, and does not go on
    if note or begins > max(line, 1):  # nothing stands behind an empty line at the end: that is no note
        yield begins, bytes(note)


class SignedStates:
    """Hands out checkpoints by rising size: those of a list as they are read, and those that stand alone."""

    def __init__(self, listed: Iterator[SignedState], alone: Iterable[SignedState]) -> None:
        self._listed = listed
        self._alone = sorted(alone, key=lambda state: state.checkpoint.size)
        self._next_listed = next(listed, None)
        self.next_size: int | None = None
        self._look_ahead()

    def at(self, size: int) -> Iterator[SignedState]:
        """Those over exactly this many entries."""
        while self._next_listed is not None and self._next_listed.checkpoint.size == size:
            yield self._next_listed
            self._next_listed = next(self._listed, None)
        while self._alone and self._alone[0].checkpoint.size == size:
            yield self._alone.pop(0)
        self._look_ahead()

    def rest(self) -> Iterator[SignedState]:
        """What is left; of the list only the first, for all others are as wrong."""
        if self._next_listed is not None:
            yield self._next_listed
            for _ in self._listed:  # read on, so that the last of the list is known
                pass
        yield from self._alone

    def _look_ahead(self) -> None:
        sizes = [state.checkpoint.size for state in (self._next_listed, *self._alone[:1]) if state]
        self.next_size = min(sizes, default=None)
