"""Where something stands in a rule file, and the collector of everything found wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Generic, NamedTuple, TypeVar

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidRuleFiles

# Beyond so many one mistake was made everywhere, and looking for what was meant would take long.
MOST_FINDINGS: Final = 1000
T = TypeVar("T")


class Place(NamedTuple):
    """A place in a file, relative to the rules folder; `line` and `column` count characters from 1."""

    file: str
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Placed(Generic[T]):
    """A value with the place it was written at. `whole` is False when a part of it was refused,
    `lost` is True when an entry is left out altogether for that reason."""

    value: T
    place: Place
    whole: bool = True
    lost: bool = False


class Findings:
    """Collects diagnostics, so that all are named at once."""

    def __init__(self) -> None:
        self._found: list[tuple[Place, Diagnostic]] = []

    def __len__(self) -> int:
        return len(self._found)

    def add(self, code: str, place: Place, message: str, advice: str) -> None:
        """One more finding; `code` is one of `codes.CODES`. Raises InvalidRuleFiles when too many."""
        diagnostic = Diagnostic(code, message, advice, file=place.file, line=place.line, column=place.column)
        self._append(place, diagnostic)

    def add_file(self, code: str, file: str, message: str, advice: str) -> None:
        """A finding about a whole file or folder."""
        self._append(Place(file, 0, 0), Diagnostic(code, message, advice, file=file))

    def _append(self, place: Place, diagnostic: Diagnostic) -> None:
        self._found.append((place, diagnostic))
        if len(self._found) > MOST_FINDINGS:
            message = f"More than {MOST_FINDINGS} things are wrong; reading stopped here."
            advice = "Correct what is listed and load again."
            last = Diagnostic("too-many-findings", message, advice, file=place.file)
            raise InvalidRuleFiles([*self.sorted(), last])

    def sorted(self) -> tuple[Diagnostic, ...]:
        """All findings by file and line; each is named once."""
        ordered = sorted(self._found, key=lambda pair: (pair[0], pair[1].code, pair[1].message))
        return tuple(dict.fromkeys(diagnostic for _, diagnostic in ordered))

    def refuse(self) -> None:
        """Raise InvalidRuleFiles with all findings, if there are any."""
        if self._found:
            raise InvalidRuleFiles(self.sorted())
