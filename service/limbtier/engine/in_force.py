"""What the settings of an edition come to, worked out once for each period in which none changes."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from limbtier.domain.edition import Edition
from limbtier.domain.interval import Interval

NO_REVIEW = -1


@dataclass(frozen=True, slots=True)
class ArrangeInForce:
    """One arrangement of a rule, its interval looked up and written out."""

    what: str
    within: Interval
    words: str
    before: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class InForce:
    """Settings by name, `lengths` of those intervals that count from the assessment in days; for each rule
    its review in days (`NO_REVIEW` if it has none) and what it arranges; for each tier, lowest first, its
    review in days."""

    numbers: Mapping[str, Fraction]
    intervals: Mapping[str, Interval]
    lengths: Mapping[str, int]
    reviews: tuple[int, ...]
    arranges: tuple[tuple[ArrangeInForce, ...], ...]
    tier_reviews: tuple[int, ...]

    def days(self, name: str) -> int:
        """A setting that is an interval from the assessment, in days."""
        return self.lengths[name]


@dataclass(frozen=True, slots=True)
class Periods:
    """The first day of each period, in order, and what is in force in it."""

    starts: tuple[date, ...]
    values: tuple[InForce, ...]

    def on(self, day: date) -> InForce:
        """What is in force on a day; before the first period, what the first one has."""
        return self.values[max(bisect_right(self.starts, day) - 1, 0)]


def periods(edition: Edition) -> Periods:
    """The periods of an edition: a new one begins whenever a setting changes."""
    starts = sorted(
        {dated.effective_from for setting in edition.settings.values() for dated in setting.values}
    )
    return Periods(tuple(starts), tuple(_in_force(edition, day) for day in starts))


def _in_force(edition: Edition, day: date) -> InForce:
    values = {name: setting.on(day) for name, setting in edition.settings.items()}
    intervals = {name: value for name, value in values.items() if isinstance(value, Interval)}
    reviews = (rule.then.review for rule in edition.rules)
    at_tiers = (tier.review_within for tier in edition.tiers)
    return InForce(
        numbers={name: value for name, value in values.items() if isinstance(value, Fraction)},
        intervals=intervals,
        lengths={name: value.days() for name, value in intervals.items() if value.counts_days},
        reviews=tuple(NO_REVIEW if one is None else edition.interval(one, day).days() for one in reviews),
        arranges=tuple(
            tuple(
                ArrangeInForce(one.what, within, str(within), one.before)
                for one in rule.then.arrange
                for within in (edition.interval(one.within, day),)
            )
            for rule in edition.rules
        ),
        tier_reviews=tuple(
            NO_REVIEW if one is None else edition.interval(one, day).days() for one in at_tiers
        ),
    )
