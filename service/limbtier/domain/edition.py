"""An edition of a rule set: everything that turns an assessment into a decision, as data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Any, Literal

from limbtier.domain.interval import Interval, Within
from limbtier.domain.rule import Rule
from limbtier.domain.vocabulary import Vocabulary

Status = Literal["draft", "released", "retired"]
Basis = Literal["seen", "memory", "practice"]
MaterialKind = Literal["bandage", "wrap", "hosiery", "padding", "paste"]
Act = Literal["added", "replaced", "withdrawn"]
Part = Literal[
    "rule",
    "setting",
    "tier",
    "input",
    "choice",
    "fact",
    "lift",
    "arrangement",
    "material",
    "wording",
    "source",
    "case",
]


@dataclass(frozen=True, slots=True)
class DatedValue:
    """A value of a setting from one day to another, both included; `to` None is open."""

    value: Interval | Fraction
    effective_from: date
    effective_to: date | None


@dataclass(frozen=True, slots=True)
class Setting:
    """A named value that a governance team may re-set; its periods join without gap or overlap."""

    name: str
    title: str
    values: tuple[DatedValue, ...]
    sources: tuple[str, ...]

    def on(self, day: date) -> Interval | Fraction:
        """The value in force on a day; the first value before its first day."""
        for dated in reversed(self.values):
            if dated.effective_from <= day:
                return dated.value
        return self.values[0].value


@dataclass(frozen=True, slots=True)
class Tier:
    """One tier; `intended_pressure` is words for people, `review_within` bounds the review at this tier."""

    name: str
    title: str
    meaning: str
    intended_pressure: str
    compression: bool
    review_within: Within | None


@dataclass(frozen=True, slots=True)
class ArrangementWords:
    """What an arrangement is called and who is asked."""

    name: str
    title: str


@dataclass(frozen=True, slots=True)
class Material:
    """A kind of material. What follows `tiers` is for estimates; None if not given."""

    name: str
    title: str
    kind: MaterialKind
    inelastic: bool
    tiers: tuple[str, ...]
    layers: int | None
    tension_kgf: Fraction | None
    width_cm: Fraction | None
    roll_length_cm: Fraction | None
    overlap: Fraction | None


@dataclass(frozen=True, slots=True)
class Source:
    """A publication, or a statement that there is none. `basis`: how the point is known."""

    id: str
    title: str
    basis: Basis
    point: str
    checked_on: date


@dataclass(frozen=True, slots=True)
class Wording:
    """Sentences that go with decisions."""

    caution: str
    safety_net: tuple[str, ...]
    dispositions: Mapping[str, str]
    other_leg_waits: str
    no_working_day: str
    pressure_estimate: str
    provisional: str


@dataclass(frozen=True, slots=True)
class WorkedCase:
    """A worked case as written: answers and what must come out; run by `limbtier check`."""

    id: str
    story: str
    assessment: Mapping[str, Any]
    limb: str
    expect: Mapping[str, Any]
    file: str
    line: int


@dataclass(frozen=True, slots=True)
class StartingPoint:
    """Answers that worked cases start from."""

    person: Mapping[str, Any]
    limb: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that an edition does to the edition it is based on. `before` is what the base had, None for
    what was added; for sentences added to its wording it is the wording. `reason` and `decided_by`, a role,
    are None where nothing changes by the addition alone, as with a source or the words for an arrangement.
    It stands at `file`, `line`, `column`."""

    part: Part
    act: Act
    name: str
    reason: str | None
    decided_by: str | None
    before: Rule | Setting | Tier | ArrangementWords | Material | Wording | WorkedCase | None
    file: str
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Edition:
    """One edition, loaded and checked. `rules` are in strata order; tiers lowest first; `guard_rails` is the
    version of the guard rails that bind it.

    An edition that is based on another, `based_on`, holds the whole of it with its own changes made; its
    digest covers that of its base.
    """

    name: str
    version: str
    title: str
    status: Status
    effective_from: date
    based_on: str | None
    owner: str
    review_by: date
    guard_rails: str
    digest: str
    vocabulary: Vocabulary
    tiers: tuple[Tier, ...]
    settings: Mapping[str, Setting]
    sources: Mapping[str, Source]
    arrangements: Mapping[str, ArrangementWords]
    materials: Mapping[str, Material]
    wording: Wording
    rules: tuple[Rule, ...]
    strata: tuple[int, ...]
    cases: tuple[WorkedCase, ...]
    starting_points: Mapping[str, StartingPoint] = field(default_factory=dict)
    changes: tuple[Change, ...] = ()

    @property
    def id(self) -> str:
        """Set and version in one word, for example `core-2026.1.0`."""
        return f"{self.name}-{self.version}"

    def rank(self, tier: str) -> int:
        """Place of a tier, 0 lowest. Raises ValueError for an unknown tier."""
        for place, entry in enumerate(self.tiers):
            if entry.name == tier:
                return place
        raise ValueError(f"no tier {tier}")

    def interval(self, within: Within, day: date) -> Interval:
        """The interval itself, looked up where it is a setting."""
        if isinstance(within, Interval):
            return within
        value = self.settings[within.setting].on(day)
        if not isinstance(value, Interval):
            raise TypeError(f"setting {within.setting} is not an interval")
        return value


def active_edition(editions: Iterable[Edition], day: date, rule_set: str) -> Edition | None:
    """The edition of a rule set that decides on a day when none is asked for: of the released ones in force
    by then the latest; where none is released, the latest draft in force by then; None where none is."""
    in_force = [one for one in editions if one.name == rule_set and one.effective_from <= day]
    for status in ("released", "draft"):
        found = [edition for edition in in_force if edition.status == status]
        if found:
            return max(found, key=_newest)
    return None


def _newest(edition: Edition) -> tuple[date, tuple[int, ...]]:
    return edition.effective_from, tuple(int(part) for part in edition.version.split("."))
