"""The schemas of the due list, of the picture of a caseload, and of a scenario of visits."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from limbtier.api.decision_schema import Disposition
from limbtier.api.schema_types import Count, Day, Described, Line, Name, Words
from limbtier.domain.due_reviews import Status

Number = Annotated[str, Field(pattern=r"^-?[0-9]{1,12}(\.[0-9])?$", max_length=16)]
Percent = Annotated[Number | None, Field(description="To one place; null where there is nothing to count.")]
Weeks = Annotated[int, Field(ge=0, le=104)]
Days = Annotated[int, Field(ge=0, le=1000)]


class DueCounts(Described):
    """How many episodes of the whole list there are, and with each status; one may have several."""

    all: Count
    assessment_overdue: Count
    due: Count
    overdue: Count
    stuck_on_starter_tier: Count


class DueEpisodeShown(Described):
    """An open episode that needs somebody; `since` is the first day on which it did."""

    assessment_overdue_since: Day | None
    calendar: Name
    days_overdue: Annotated[int, Field(ge=0, le=100_000)]
    disposition: Disposition
    reference: Annotated[str, Field(max_length=64)]
    review_due_on: Day
    since: Day
    statuses: Annotated[list[Status], Field(max_length=4)]
    stuck_since: Day | None
    tier: Annotated[Line, Field(description="The highest on either leg; `none` while none is known.")]


class DueList(Described):
    """A page of the due list. The counts are of all of it, and stand on the first page alone."""

    counts: DueCounts | None
    episodes: Annotated[list[DueEpisodeShown], Field(max_length=500)]
    next: Annotated[str | None, Field(max_length=120, description="The cursor of the next page.")]
    on: Day


class LegShare(Described):
    """So many of so many legs."""

    count: Count
    of: Count
    percent: Percent


class LegSpread(Described):
    """Median and quartiles of so many values."""

    lower_quartile: Percent
    median: Percent
    of: Count
    upper_quartile: Percent


class ShareOfDays(LegShare):
    """By so many days."""

    days: Days


class ShareAfterDays(LegShare):
    """After so many days; `not_known` are legs of which it was not known what was on."""

    after_days: Days
    not_known: Count


class ShareWithinDays(LegShare):
    """Within so many days."""

    within_days: Days


class ReachedTier(Described):
    """How soon legs came to a tier or a higher one, in days from first contact."""

    by_days: Annotated[list[ShareOfDays], Field(max_length=20)]
    days_from_first_contact: LegSpread
    tier: Name


class AreaChange(LegSpread):
    """Percent of the wound area at the start that was gone so many weeks later."""

    week: Weeks


class LegsByTier(Described):
    """How many legs have which tier on; `not_known` while a decision waits for answers."""

    strong: Count
    moderate: Count
    mild: Count
    support: Count
    withhold: Count
    none: Count
    not_known: Count


class CaseloadWeek(Described):
    """Legs of open episodes by tier at the end of a Sunday."""

    ends_on: Day
    legs: LegsByTier


class CaseloadPicture(Described):
    """What the legs of a caseload come to; README has the definitions."""

    area_change_percent: Annotated[list[AreaChange], Field(max_length=105)]
    as_of: Day
    assessed: ShareWithinDays
    legs: Count
    open_legs: Count
    reached: Annotated[list[ReachedTier], Field(max_length=10)]
    starter_tiers: Annotated[list[Name], Field(max_length=10)]
    still_at_starter_tier: Annotated[list[ShareAfterDays], Field(max_length=20)]
    weeks: Annotated[list[CaseloadWeek], Field(max_length=10_000)]


class VisitsBetween(Described):
    """From the fewest to the most."""

    least: Number
    most: Number


class VisitsAssumed(VisitsBetween):
    """Visits of a leg a week at a tier, as they were given."""

    tier: Name


class LegsAtTier(Described):
    """Legs of open episodes with a tier on."""

    count: Count
    tier: Name


class VisitScenarioShown(Described):
    """A scenario with every input that it rests on. It is no forecast, and says nothing of savings."""

    assumed_visits_a_week: Annotated[list[VisitsAssumed], Field(max_length=10)]
    counted_on: Day | None
    legs: Annotated[list[LegsAtTier], Field(max_length=10)]
    legs_left_out: Count
    scenario: Words
    visits: VisitsBetween
    weeks: Annotated[int, Field(ge=1, le=52)]


FormOfCaseload = Literal["json", "csv", "svg"]
