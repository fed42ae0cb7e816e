"""What comes of a proof: a verdict about one statement."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Statement:
    """One property of an edition. `id` is stable, `family` groups properties, `sentence` says it plainly."""

    id: str
    family: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Proved:
    """It holds for every assessment that the edition takes. `note` says what the proof rests on, if that is
    more than the rules."""

    statement: Statement
    seconds: float
    note: str = ""


@dataclass(frozen=True, slots=True)
class Counterexample:
    """It does not hold: an assessment that shows it, decided by the engine itself.

    `request` is what the API takes; `after` the second request where the statement compares two. `words` are
    its answers in plain words, `says` what the engine says of it, `worked_case` the text of a worked case.
    """

    statement: Statement
    seconds: float
    request: Mapping[str, Any]
    after: Mapping[str, Any] | None
    words: tuple[str, ...]
    says: tuple[str, ...]
    worked_case: str


@dataclass(frozen=True, slots=True)
class Inconclusive:
    """Neither was shown; `reason` says why."""

    statement: Statement
    seconds: float
    reason: str


Verdict = Proved | Counterexample | Inconclusive
