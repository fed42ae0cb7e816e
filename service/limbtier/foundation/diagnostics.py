"""One type for every finding, whoever makes it: loader, reader of assessments, check."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

Severity = Literal["error", "warning"]


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """What is wrong, where, and what to do instead.

    `code` is stable and documented; `pointer` is an RFC 6901 JSON pointer into the request;
    `file`, `line` and `column` (both from 1) point into a rule file.
    """

    code: str
    message: str
    help: str
    pointer: str | None = None
    file: str | None = None
    line: int | None = None
    column: int | None = None
    severity: Severity = "error"

    def place(self) -> str:
        """Where it is, as `file:line:column` or as a JSON pointer; empty when it has no place."""
        if self.file is not None:
            parts = [self.file] + [str(number) for number in (self.line, self.column) if number is not None]
            return ":".join(parts)
        return self.pointer or ""

    def __str__(self) -> str:
        place = self.place()
        lead = f"{place}: " if place else ""
        return printable(f"{lead}{self.severity}[{self.code}]: {self.message}\n    help: {self.help}")


# C0 but the line feed, DEL, C1, and what turns the direction of writing (Unicode, "Bidirectional Algorithm").
_UNSEEN: Final = (
    *range(0x0A),
    *range(0x0B, 0x20),
    *range(0x7F, 0xA0),
    *range(0x202A, 0x202F),
    *range(0x2066, 0x206A),
)
_ESCAPED: Final = {number: ascii(chr(number))[1:-1] for number in _UNSEEN}


def printable(text: str) -> str:
    """A text for a terminal or a log: what could act there instead of being seen, such as the control
    characters that a file name may hold, is written as in Python. Lines stay lines."""
    return text.translate(_ESCAPED)


def pointer(*steps: str | int) -> str:
    """The JSON pointer (RFC 6901) of the steps, `/` and `~` escaped; empty for the whole document."""
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in steps)


def did_you_mean(word: str, known: Iterable[str], otherwise: str) -> str:
    """Help that names the closest known word, or `otherwise` when none is close."""
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f"Did you mean `{close[0]}`?" if close else otherwise
