"""How the legs of a caseload went: the course of each, and what all of them come to, counted in whole legs.

A leg is the unit, because each leg is decided on its own. Days are those of the contacts and events, in the
United Kingdom. Everything is counted up to one day, `as_of`, that day included.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction
from typing import Final, TypeVar

from limbtier.domain.assessment import Side
from limbtier.domain.episode_fold import fold, in_order
from limbtier.domain.episode_state import TIERS, EpisodeState, Given, Keeping, LimbState, Part, rank

T = TypeVar("T")
Kept = Mapping[str, Given]

NOT_KNOWN: Final = "not_known"
SHOWN_TIERS: Final = (*reversed(TIERS), "none", NOT_KNOWN)
"""What may be on a leg, the highest tier first; `not_known` while a decision waits for answers."""
HEALED: Final = "healed"


@dataclass(frozen=True, slots=True)
class CaseloadTerms:
    """What is counted.

    `starter_tiers` are those that nobody should be left on; `starter_after` the days after the start of
    compression on which that is looked at; `assessment` names the kept answers that make a full assessment,
    and `assessment_within` the days from first contact that it may take; `reached_by` the days from first
    contact by which tiers are reached; `area_weeks` how many weeks of change in area are shown.
    """

    starter_tiers: tuple[str, ...]
    starter_after: tuple[int, ...]
    assessment: str
    assessment_within: int
    reached_by: tuple[int, ...]
    area_weeks: int


@dataclass(frozen=True, slots=True)
class Course:
    """One leg from its first contact on. `tiers` and `areas` (cm2) hold what was so from a day on, in order;
    `start_area` is the wound when compression started; `ended_on` the day on which the episode closed."""

    first_contact_on: date
    tiers: tuple[tuple[date, str], ...]
    assessed_on: date | None
    started_on: date | None
    start_area: Fraction | None
    areas: tuple[tuple[date, Fraction], ...]
    ended_on: date | None
    ended_as: str | None

    def tier_on(self, day: date) -> str:
        """What was on the leg at the end of a day; not known before the first part."""
        place = bisect_right(self.tiers, day, key=_day)
        return self.tiers[place - 1][1] if place else NOT_KNOWN

    def area_on(self, day: date) -> Fraction | None:
        """The area last measured by the end of a day; none left once it healed."""
        if self.ended_as == HEALED and self.ended_on is not None and self.ended_on <= day:
            return Fraction(0)
        place = bisect_right(self.areas, day, key=_day)
        return self.areas[place - 1][1] if place else None

    def reached_on(self, tier: str) -> date | None:
        """The first day on which the tier, or a higher one, was on."""
        return next((day for day, found in self.tiers if rank(found) >= rank(tier)), None)

    def open_on(self, day: date) -> bool:
        """Whether the leg had been seen by the end of a day, and its episode was open then."""
        return self.first_contact_on <= day and (self.ended_on is None or self.ended_on > day)


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many legs."""

    count: int
    of: int


@dataclass(frozen=True, slots=True)
class StarterShare:
    """Of so many legs, those that still had a starter tier on, and those of which it was not known."""

    count: int
    not_known: int
    of: int


@dataclass(frozen=True, slots=True)
class Spread:
    """Of `of` values: the median and the quartiles; None where there is no value."""

    of: int
    lower: Fraction | None
    median: Fraction | None
    upper: Fraction | None


@dataclass(frozen=True, slots=True)
class Reached:
    """How soon legs came to a tier or a higher one: the spread of the days from first contact of those that
    did, and by some days how many had, of those first seen so long ago that were followed so long or had."""

    days: Spread
    by_days: Mapping[int, Share]


@dataclass(frozen=True, slots=True)
class Caseload:
    """What the legs of a caseload come to; definitions beside `caseload`."""

    as_of: date
    legs: int
    open_legs: int
    weeks: Mapping[date, Mapping[str, int]]
    reached: Mapping[str, Reached]
    assessed: Share
    still_at_starter_tier: Mapping[int, StarterShare]
    area_change: Mapping[int, Spread]
    terms: CaseloadTerms = field(repr=False)


def courses(
    parts: Iterable[Part], keeping: Keeping, assessment: str, is_result: Callable[[Kept], bool]
) -> dict[Side, Course]:
    """The course of each leg of an episode, from its parts as they arrived. `assessment` names the group of
    kept answers that makes a full assessment, where `is_result` says that they come to a result."""
    group = next(one for one in keeping if one.name == assessment)
    made: dict[Side, _Making] = {}
    state: EpisodeState | None = None
    for part in in_order(parts):
        state = fold(state, part, keeping)
        if state is None:
            continue
        for side, leg in state.limbs.items():
            made.setdefault(side, _Making()).add(
                part.on, leg, group.kept_on(leg.kept) if is_result(leg.kept) else None
            )
    if state is None:
        return {}
    return {
        side: Course(
            leg.first_contact_on,
            tuple(made[side].tiers),
            made[side].assessed_on,
            leg.started_on,
            _number(leg.start_area.value) if leg.start_area else None,
            tuple(made[side].areas),
            state.closed_on,
            state.closed_as,
        )
        for side, leg in state.limbs.items()
    }


@dataclass(slots=True)
class _Making:
    """The course of a leg while its parts are read in order; of one day, what came last counts."""

    tiers: list[tuple[date, str]] = field(default_factory=list)
    areas: list[tuple[date, Fraction]] = field(default_factory=list)
    assessed_on: date | None = None

    def add(self, day: date, leg: LimbState, assessed_on: date | None) -> None:
        """The leg after a part; `assessed_on` is the day of the test that is then known."""
        if assessed_on is not None:  # a later test takes the place of the first, and the first is what counts
            self.assessed_on = min(assessed_on, self.assessed_on or assessed_on)
        tier = NOT_KNOWN if leg.unsettled_on is not None else leg.tier or NOT_KNOWN
        _put(self.tiers, day, tier)
        area = _number(leg.last_area.value) if leg.last_area else None
        if area is not None:
            _put(self.areas, day, area)


def caseload(
    legs: Sequence[Course],
    terms: CaseloadTerms,
    as_of: date,
    first: date | None = None,
    before: date | None = None,
) -> Caseload:
    """Count legs first seen from `first` on and before `before`, as things stood at the end of `as_of`.

    - weeks: at the end of each Sunday, how many legs of open episodes had which tier on.
    - reached: days from first contact to the first day on which a tier or a higher one was on; by some days,
      of legs first seen so long ago, and followed so long or there by then.
    - assessed: legs with a full assessment within the days allowed, of legs first seen so long ago, and
      followed so long or assessed by then.
    - still at a starter tier: of legs that began compression on one, not before the first contact, and whose
      episode was open so many days later: how many had one on at the end of that day,
      and of how many it was not known what was on.
    - area change: percent of the area at the start that was gone so many weeks later, of legs with a wound
      measured at the start whose episode was open then or had closed as healed.
    """
    seen = [
        leg
        for leg in legs
        if leg.first_contact_on <= as_of
        and (first is None or leg.first_contact_on >= first)
        and (before is None or leg.first_contact_on < before)
    ]
    return Caseload(
        as_of,
        len(seen),
        sum(leg.open_on(as_of) for leg in seen),
        _weeks(seen, as_of),
        {tier: _reached(seen, tier, terms, as_of) for tier in TIERS[1:]},
        _assessed(seen, terms.assessment_within, as_of),
        {days: _at_starter_tier(seen, terms.starter_tiers, days, as_of) for days in terms.starter_after},
        {week: _area_change(seen, week, as_of) for week in range(terms.area_weeks + 1)},
        terms,
    )


def _weeks(legs: Sequence[Course], as_of: date) -> dict[date, Mapping[str, int]]:
    if not legs:
        return {}
    sunday = _sunday(min(leg.first_contact_on for leg in legs))
    found: dict[date, Mapping[str, int]] = {}
    while sunday <= as_of:
        counts = Counter(leg.tier_on(sunday) for leg in legs if leg.open_on(sunday))
        found[sunday] = {tier: counts[tier] for tier in SHOWN_TIERS}
        sunday += timedelta(days=7)
    return found


def _reached(legs: Sequence[Course], tier: str, terms: CaseloadTerms, as_of: date) -> Reached:
    days = []
    by_days = {limit: [0, 0] for limit in terms.reached_by}
    for leg in legs:
        on = leg.reached_on(tier)
        took = None if on is None or on > as_of else (on - leg.first_contact_on).days
        if took is not None:
            days.append(Fraction(took))
        for limit, counts in by_days.items():
            if leg.first_contact_on + timedelta(days=limit) > as_of:
                continue  # else those that came to it early would count before those that did not
            by_then = took is not None and took <= limit
            counts[0] += by_then
            counts[1] += by_then or _followed(leg, leg.first_contact_on, limit, as_of)
    return Reached(spread(days), {limit: Share(*counts) for limit, counts in by_days.items()})


def _assessed(legs: Sequence[Course], within: int, as_of: date) -> Share:
    done = of = 0
    for leg in legs:
        if leg.first_contact_on + timedelta(days=within) > as_of:
            continue
        in_time = leg.assessed_on is not None and (leg.assessed_on - leg.first_contact_on).days <= within
        done += in_time
        of += in_time or _followed(leg, leg.first_contact_on, within, as_of)
    return Share(done, of)


def _at_starter_tier(legs: Sequence[Course], tiers: Sequence[str], days: int, as_of: date) -> StarterShare:
    still = of = not_known = 0
    for leg in legs:
        if leg.started_on is None or leg.started_on < leg.first_contact_on:
            continue
        if leg.tier_on(leg.started_on) in tiers and _followed(leg, leg.started_on, days, as_of):
            of += 1
            then = leg.tier_on(leg.started_on + timedelta(days=days))
            still += then in tiers
            not_known += then == NOT_KNOWN
    return StarterShare(still, not_known, of)


def _area_change(legs: Sequence[Course], week: int, as_of: date) -> Spread:
    changes = []
    for leg in legs:
        if leg.started_on is None or not leg.start_area:
            continue
        day = leg.started_on + timedelta(weeks=week)
        healed = leg.ended_as == HEALED and leg.ended_on is not None and leg.ended_on <= day
        if day > as_of or not (healed or leg.open_on(day)):
            continue
        area = leg.area_on(day)
        if area is not None:
            changes.append(100 * (leg.start_area - area) / leg.start_area)
    return spread(changes)


def _followed(leg: Course, since: date, days: int, as_of: date) -> bool:
    """Whether so many days have passed, and the episode was open at the end of the last."""
    day = since + timedelta(days=days)
    return day <= as_of and leg.open_on(day)


def spread(values: Sequence[Fraction]) -> Spread:
    """Median and quartiles, between neighbours in proportion: the median of an even number is half-way
    between the middle two. The same as NumPy's default, `linear`."""
    ordered = sorted(values)
    if not ordered:
        return Spread(0, None, None, None)
    return Spread(len(ordered), *(_quantile(ordered, Fraction(part, 4)) for part in (1, 2, 3)))


def _quantile(ordered: Sequence[Fraction], part: Fraction) -> Fraction:
    place = part * (len(ordered) - 1)
    below = int(place)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (ordered[above] - ordered[below]) * (place - below)


def _number(value: object) -> Fraction | None:
    return Fraction(value) if isinstance(value, str) and value != "not_done" else None


def _sunday(day: date) -> date:
    return day + timedelta(days=6 - day.weekday())


def _day(entry: tuple[date, object]) -> date:
    return entry[0]


def _put(entries: list[tuple[date, T]], day: date, value: T) -> None:
    if entries and entries[-1][0] >= day:
        entries[-1] = (entries[-1][0], value)
    elif not entries or entries[-1][1] != value:
        entries.append((day, value))
