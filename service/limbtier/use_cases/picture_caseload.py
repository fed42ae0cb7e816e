"""Counts a caseload from the contacts and events of its episodes, as the log has them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from fractions import Fraction
from typing import Any, Final

from limbtier.domain.caseload import Caseload, CaseloadTerms, Course, caseload, courses
from limbtier.domain.episode_state import Keeping
from limbtier.domain.visit_scenario import VisitRange, VisitScenario
from limbtier.engine.arterial_test import comes_to_result
from limbtier.store.due_list import DueTable

EPISODES_BETWEEN_PROGRESS: Final = 1000
SCENARIO: Final = (
    "A scenario, not a forecast: legs stay at the tiers that they have now, and take the visits assumed here."
)


def picture_caseload(
    table: DueTable,
    organisation: str,
    keeping: Keeping,
    terms: CaseloadTerms,
    as_of: date,
    first: date | None = None,
    before: date | None = None,
    progress: Callable[[int], object] = lambda _count: None,
) -> Caseload:
    """Everything of one organisation up to a day; `progress` is told how many episodes were read. Raises
    StoreUnavailable."""
    legs: list[Course] = []
    for count, (_, parts) in enumerate(table.parts(organisation), 1):
        known = [part for part in parts if part.on <= as_of]
        legs += courses(known, keeping, terms.assessment, comes_to_result).values()
        if count % EPISODES_BETWEEN_PROGRESS == 0:
            progress(count)
    return caseload(legs, terms, as_of, first, before)


def scenario_record(scenario: VisitScenario) -> dict[str, Any]:
    """A scenario with every input that it rests on."""
    return {
        "assumed_visits_a_week": [{"tier": tier, **_range(one)} for tier, one in scenario.assumed.items()],
        "counted_on": scenario.counted_on,
        "legs": [{"count": count, "tier": tier} for tier, count in scenario.legs.items()],
        "legs_left_out": scenario.left_out,
        "scenario": SCENARIO,
        "visits": _range(scenario.visits),
        "weeks": scenario.weeks,
    }


def _range(one: VisitRange) -> dict[str, str]:
    return {"least": _shown(one.least), "most": _shown(one.most)}


def _shown(value: Fraction) -> str:
    """A number of visits, exact to a tenth, which is as finely as they may be assumed."""
    return str(value.numerator) if value.denominator == 1 else f"{float(value):.1f}"
