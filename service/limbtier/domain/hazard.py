"""The hazard log of the service: what could hurt a person, why, and what stands in its way.

Severity and likelihood are words of scales that the log itself gives; a rating follows from both by the
log's own matrix and is never written beside them, so that the two cannot disagree.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

HazardStatus = Literal["open", "transferred", "closed"]
HAZARD_STATUSES: tuple[str, ...] = get_args(HazardStatus)
ReferenceKind = Literal["guard_rail", "proof", "check", "test"]
REFERENCE_KINDS: tuple[ReferenceKind, ...] = get_args(ReferenceKind)


@dataclass(frozen=True, slots=True)
class Level:
    """One word of a scale, and what it means."""

    name: str
    title: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Reference:
    """What shows a control: a guard rail, a proof or a check by its id, or a test as `tests/file.py::name`.
    `line` and `column` say where the log names it."""

    kind: ReferenceKind
    name: str
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Control:
    """What of the service makes the hazard less likely, in words, and what shows that it is there."""

    text: str
    shown_by: tuple[Reference, ...]


@dataclass(frozen=True, slots=True)
class Risk:
    """How bad, and how likely: names of the two scales."""

    severity: str
    likelihood: str


@dataclass(frozen=True, slots=True)
class Hazard:
    """One hazard. `initial` is the risk without the controls, `residual` with them; `left_to_deployer` are
    controls that only the organisation that deploys the service can put in place."""

    id: str
    hazard: str
    causes: tuple[str, ...]
    effect: str
    initial: Risk
    controls: tuple[Control, ...]
    residual: Risk
    left_to_deployer: tuple[str, ...]
    status: HazardStatus


@dataclass(frozen=True, slots=True)
class HazardLog:
    """All hazards, the scales they are judged by, lowest first, and what the log is and is not.

    `ratings` gives the rating of every likelihood and severity; `acceptability` says what a rating means.
    `file` is relative to the rules folder.
    """

    version: str
    title: str
    statement: str
    sign_off: str
    reviewed_on: date
    scales_source: str
    severities: tuple[Level, ...]
    likelihoods: tuple[Level, ...]
    ratings: Mapping[tuple[str, str], int]
    acceptability: Mapping[int, str]
    hazards: tuple[Hazard, ...]
    file: str

    def rating(self, risk: Risk) -> int:
        """The rating of a risk by the matrix."""
        return self.ratings[risk.likelihood, risk.severity]
