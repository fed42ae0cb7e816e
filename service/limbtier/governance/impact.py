"""What another edition would have made of assessments that were decided before: one leg, and all together.

A leg is compared by its disposition, its tier, its target and the day of its review. Higher or later is less
cautious, lower or earlier more so; which of them is right is for people to judge.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final, Literal, NamedTuple

# What a decision calls the interval that a tier itself sets.
TIER_INTERVAL: Final = "tier"
TierMove = Literal["up", "down", "same"]
ReviewMove = Literal["earlier", "later", "same"]
Effect = Literal[
    "limits",
    "no longer limits",
    "proposes",
    "no longer proposes",
    "sets the review",
    "no longer sets the review",
    "applies, was undetermined",
    "undetermined, applied before",
    "can be lifted otherwise",
]


class Counted(NamedTuple):
    """A limit or a proposal that counted for a leg. `until` names what lifts a limit."""

    rule: str
    proposes: bool
    tier: str
    applies: bool
    until: str | None


@dataclass(frozen=True, slots=True)
class LegOutcome:
    """What one edition says of one leg. `review_due_on` is a day as text, year first."""

    disposition: str
    tier: str
    target_tier: str
    review_due_on: str


@dataclass(frozen=True, slots=True)
class LegReasons:
    """What led to an outcome: the limits and proposals that counted, and what set the review."""

    counted: frozenset[Counted]
    review_set_by: frozenset[str]


class Cause(NamedTuple):
    """What a rule, or a setting of reviews, does otherwise than before; `tier` for limits and proposals."""

    rule: str
    effect: Effect
    tier: str | None

    def __str__(self) -> str:
        rule = "interval of the tier" if self.rule == TIER_INTERVAL else self.rule
        return f"{rule}: {self.effect}" + (f" ({self.tier})" if self.tier else "")


@dataclass(frozen=True, slots=True)
class LegChange:
    """A leg for which the editions differ. `reference` is the id of a decision or a line of a file; `link`
    the path of the decision on the service, None where it has none; `episode` is a pseudonym."""

    reference: str
    link: str | None
    episode: str | None
    side: str
    edition: str
    before: LegOutcome
    after: LegOutcome
    tier: TierMove
    review: ReviewMove
    causes: tuple[Cause, ...]


@dataclass(frozen=True, slots=True)
class NotDecided:
    """An assessment for which one of the editions gives no answer, with the code and the reasons."""

    reference: str
    link: str | None
    edition: str
    code: str
    reasons: tuple[str, ...]


@dataclass(slots=True)
class Impact:
    """What was counted so far. `tiers` and `dispositions` count legs by before and after."""

    assessments: int = 0
    legs: int = 0
    editions: Counter[str] = field(default_factory=Counter)
    tiers: Counter[tuple[str, str]] = field(default_factory=Counter)
    dispositions: Counter[tuple[str, str]] = field(default_factory=Counter)
    reviews: Counter[ReviewMove] = field(default_factory=Counter)
    causes: Counter[Cause] = field(default_factory=Counter)
    changes: list[LegChange] = field(default_factory=list)
    not_decided: list[NotDecided] = field(default_factory=list)

    def add(self, edition: str, before: LegOutcome, after: LegOutcome, change: LegChange | None) -> None:
        """Count one leg."""
        self.legs += 1
        self.editions[edition] += 1
        self.tiers[before.tier, after.tier] += 1
        self.dispositions[before.disposition, after.disposition] += 1
        if change is None:
            self.reviews["same"] += 1
            return
        self.reviews[change.review] += 1
        self.causes.update(change.causes)
        self.changes.append(change)

    def take_in(self, other: Impact) -> None:
        """Add what was counted elsewhere, after what was counted here."""
        self.assessments += other.assessments
        self.legs += other.legs
        self.editions += other.editions
        self.tiers += other.tiers
        self.dispositions += other.dispositions
        self.reviews += other.reviews
        self.causes += other.causes
        self.changes += other.changes
        self.not_decided += other.not_decided

    def moved(self, ranks: Mapping[str, int]) -> Counter[TierMove]:
        """How many legs go up, go down or stay."""
        found: Counter[TierMove] = Counter()
        for (before, after), count in self.tiers.items():
            found[tier_move(ranks[before], ranks[after])] += count
        return found


def tier_move(before: int, after: int) -> TierMove:
    """Which way a tier goes, by its ranks."""
    if before == after:
        return "same"
    return "up" if after > before else "down"


def review_move(before: str, after: str) -> ReviewMove:
    """Which way a review goes, by its days."""
    if before == after:
        return "same"
    return "later" if after > before else "earlier"


def causes_of(
    before: LegOutcome,
    after: LegOutcome,
    was: LegReasons,
    now: LegReasons,
    ranks: Mapping[str, int],
) -> tuple[Cause, ...]:
    """Which limits, proposals and intervals made the difference, named once each."""
    found: list[Cause] = []
    move = tier_move(ranks[before.tier], ranks[after.tier])
    if move == "down":
        found += _lowered(ranks[before.tier], was, now, ranks, "limits", "no longer proposes")
    elif move == "up":
        found += _lowered(ranks[after.tier], now, was, ranks, "no longer limits", "proposes")
    if review_move(before.review_due_on, after.review_due_on) == "earlier":
        found += [Cause(name, "sets the review", None) for name in now.review_set_by]
    elif before.review_due_on != after.review_due_on:
        found += [Cause(name, "no longer sets the review", None) for name in was.review_set_by]
    if move == "same" and (before.disposition, before.target_tier) != (after.disposition, after.target_tier):
        found += _otherwise(was.counted, now.counted)
    return tuple(sorted(set(found), key=lambda cause: (cause.rule, cause.effect, cause.tier or "")))


def _lowered(
    high: int,
    higher: LegReasons,
    lower: LegReasons,
    ranks: Mapping[str, int],
    limited: Effect,
    proposed: Effect,
) -> Iterable[Cause]:
    """Why the one outcome lies below the other, whose rank is `high`: limits below that rank, and, where no
    proposal reaches it any more, the proposals that did."""
    for one in lower.counted:
        if not one.proposes and ranks[one.tier] < high:
            yield Cause(one.rule, limited, one.tier)
    if any(one.proposes and one.applies and ranks[one.tier] >= high for one in lower.counted):
        return
    for one in higher.counted:
        if one.proposes and one.applies and ranks[one.tier] >= high:
            yield Cause(one.rule, proposed, one.tier)


def _otherwise(was: frozenset[Counted], now: frozenset[Counted]) -> Iterable[Cause]:
    """Every limit and proposal that differs, where the tier is the same."""
    gone = {(one.rule, one.proposes, one.tier): one for one in was - now}
    for one in now - was:
        old = gone.pop((one.rule, one.proposes, one.tier), None)
        if old is None:
            yield Cause(one.rule, "proposes" if one.proposes else "limits", one.tier)
        elif old.applies != one.applies:
            told: Effect = "applies, was undetermined" if one.applies else "undetermined, applied before"
            yield Cause(one.rule, told, one.tier)
        else:
            yield Cause(one.rule, "can be lifted otherwise", one.tier)
    for one in gone.values():
        yield Cause(one.rule, "no longer proposes" if one.proposes else "no longer limits", one.tier)
