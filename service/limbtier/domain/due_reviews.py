"""What a due list holds: episodes that need somebody, since when, and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

Status = Literal["due", "overdue", "stuck_on_starter_tier", "assessment_overdue"]
STATUSES: Final[tuple[Status, ...]] = ("overdue", "due", "stuck_on_starter_tier", "assessment_overdue")


@dataclass(frozen=True, slots=True)
class DueTerms:
    """The ids of the watch rules that make an episode stuck on a starter tier, and its full assessment
    overdue."""

    stuck_on_starter_tier: tuple[str, ...]
    assessment_overdue: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AttentionDays:
    """The first days on which an episode is stuck on a starter tier and its full assessment is overdue, if no
    contact and no event comes before; None when never."""

    stuck_on: date | None = None
    assessment_on: date | None = None


@dataclass(frozen=True, slots=True)
class DueEpisode:
    """An open episode that needs somebody, or will. `since` is the first day on which it does; `tier` the
    highest on either leg, `disposition` the most urgent of the last decisions; `position` of its last contact
    or event in the log."""

    position: int
    reference: str
    since: date
    review_due_on: date
    stuck_on: date | None
    assessment_on: date | None
    tier: str
    disposition: str
    calendar: str

    def statuses(self, today: date) -> tuple[Status, ...]:
        """Why it is on the list today, the most pressing first."""
        held = {
            "overdue": self.review_due_on < today,
            "due": self.review_due_on == today,
            "stuck_on_starter_tier": self.stuck_on is not None and self.stuck_on <= today,
            "assessment_overdue": self.assessment_on is not None and self.assessment_on <= today,
        }
        return tuple(name for name in STATUSES if held[name])


@dataclass(frozen=True, slots=True)
class DueFilter:
    """Which episodes are wanted: of one organisation, needing somebody by a day; with one of the `statuses`
    on that day where any is named, at one of the tiers and by one of the calendars likewise."""

    organisation: str
    by: date
    statuses: tuple[Status, ...] = ()
    tiers: tuple[str, ...] = ()
    calendars: tuple[str, ...] = ()
