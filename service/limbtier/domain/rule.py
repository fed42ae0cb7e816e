"""Rules and guard rails: a condition, what it concludes, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from limbtier.domain.condition import Condition
from limbtier.domain.interval import Interval, Within

Relation = Literal["danger_sign_never_raises", "withdrawing_never_raises"]


@dataclass(frozen=True, slots=True)
class Limit:
    """No tier above this one; `until` names what can lift it, None if only its own answers can."""

    tier: str
    until: str | None = None


@dataclass(frozen=True, slots=True)
class Arrange:
    """Something to arrange, by when; what it names in `before` comes after it."""

    what: str
    within: Within
    before: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Conclusions:
    """What a rule concludes; at least one of these is set.

    `instruct` is shown at the tiers of `instruct_at` and with any of the chosen materials of
    `instruct_with`; where these are empty, at every tier above withholding, whatever is chosen.
    """

    propose: str | None = None
    limit: Limit | None = None
    review: Within | None = None
    arrange: tuple[Arrange, ...] = ()
    classify: tuple[str, ...] = ()
    choose: tuple[str, ...] = ()
    avoid: tuple[str, ...] = ()
    caution: tuple[str, ...] = ()
    instruct: tuple[str, ...] = ()
    instruct_at: tuple[str, ...] = ()
    instruct_with: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a rule comes from in an edition that is based on another: the edition that wrote it, and what
    that one did. `reason` and `decided_by`, a role, are None for a rule that an edition without a base
    gives."""

    edition: str
    act: Literal["given", "added", "replaced"]
    reason: str | None = None
    decided_by: str | None = None


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of an edition. `because` is the reason shown; `sources` are ids of the edition's sources;
    `origin` is None in an edition that is based on no other."""

    id: str
    title: str
    when: Condition
    then: Conclusions
    because: str
    sources: tuple[str, ...]
    topic: str
    file: str
    line: int
    origin: Origin | None = None


@dataclass(frozen=True, slots=True)
class Requirement:
    """What a guard rail demands of a decision; every part that is set must hold."""

    tier_at_most: str | None = None
    disposition: str | None = None
    review_within: Interval | None = None
    arranged: Arrange | None = None
    safety_net: bool = False
    no_avoided_material: bool = False


@dataclass(frozen=True, slots=True)
class GuardCheck:
    """One demand: in which assessments (`when`), for which decisions (empty: all), what must hold."""

    when: Condition
    dispositions: tuple[str, ...]
    tiers: tuple[str, ...]
    require: Requirement


@dataclass(frozen=True, slots=True)
class GuardRail:
    """One safety property. `relation` names a property of two decisions, which one cannot show."""

    id: str
    statement: str
    checks: tuple[GuardCheck, ...]
    relation: Relation | None


@dataclass(frozen=True, slots=True)
class GuardRails:
    """All guard rails of one version, kept apart from every edition."""

    version: str
    digest: str
    rails: tuple[GuardRail, ...]
