"""How many visits a caseload would take if it stayed as it is: a scenario of its inputs, and no forecast."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from limbtier.domain.caseload import Caseload


@dataclass(frozen=True, slots=True)
class VisitRange:
    """Visits from the fewest to the most that somebody assumes. Raises ValueError when the most are fewer, or
    there are fewer than none."""

    least: Fraction
    most: Fraction

    def __post_init__(self) -> None:
        if not 0 <= self.least <= self.most:
            raise ValueError(f"{self.least} to {self.most} is no range of visits")


@dataclass(frozen=True, slots=True)
class VisitScenario:
    """`legs` by tier at the end of the week that ended on `counted_on`, the `assumed` visits a week of each
    tier, and what they come to over so many weeks. `left_out` are legs at tiers without an assumption."""

    weeks: int
    counted_on: str | None
    legs: Mapping[str, int]
    assumed: Mapping[str, VisitRange]
    visits: VisitRange
    left_out: int


def visit_scenario(found: Caseload, assumed: Mapping[str, VisitRange], weeks: int) -> VisitScenario:
    """Legs of the last whole week, times the visits assumed for their tier, times the weeks. Nobody is
    assumed to step up, to heal, or to be referred: the range is that of the assumed visits alone."""
    day = max(found.weeks, default=None)
    counts = {tier: count for tier, count in found.weeks[day].items() if count} if day else {}
    least = sum((counts.get(tier, 0) * one.least for tier, one in assumed.items()), Fraction(0))
    most = sum((counts.get(tier, 0) * one.most for tier, one in assumed.items()), Fraction(0))
    left_out = sum(count for tier, count in counts.items() if tier not in assumed)
    return VisitScenario(
        weeks,
        day.isoformat() if day else None,
        counts,
        assumed,
        VisitRange(weeks * least, weeks * most),
        left_out,
    )
