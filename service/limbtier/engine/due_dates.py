"""From intervals to days: reviews and arrangements on the working days of one nation's calendar."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

from limbtier.domain.decision import Disposition, Review
from limbtier.domain.interval import Interval
from limbtier.engine.in_force import NO_REVIEW, InForce
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.prepared import Counting, PreparedEdition
from limbtier.engine.tiers import TierRange
from limbtier.measures.working_days import WorkingCalendar

CHANGES = ("start", "step_up", "step_down")


@dataclass(slots=True)
class Days:
    """Today, the calendar, the first contact where it was recorded, and the settings in force today."""

    today: date
    calendar: WorkingCalendar
    first_contact_on: date | None
    settings: InForce
    _known: dict[Interval, date] = field(default_factory=dict)

    def on_or_before(self, end: date) -> tuple[date, bool]:
        """The last working day after today and not after `end`; `end` itself, and False, if there is none."""
        if end <= self.today:
            return self.today, True
        found = self.calendar.last_working_day(self.today, end)
        return (end, False) if found is None else (found, True)

    def working_days_on(self, amount: int) -> date:
        """The working day that many working days after today."""
        day = self.today
        for _ in range(amount):
            day = self.calendar.next_working_day(day)
        return day

    def counted(self, interval: Interval) -> Interval:
        """The interval itself; one from first contact that has passed, or whose first contact was not
        recorded, is replaced by the edition's overdue deadline."""
        if interval.kind != "days_of_first_contact":
            return interval
        first = self.first_contact_on
        if first is not None and first + timedelta(days=interval.amount) >= self.today:
            return interval
        return self.settings.intervals["overdue_deadline"]

    def due(self, interval: Interval) -> date:
        """By when an arrangement is due. An interval from first contact must be `counted`."""
        known = self._known.get(interval)
        if known is None:
            known = self._known[interval] = self._due(interval)
        return known

    def _due(self, interval: Interval) -> date:
        match interval.kind:
            case "working_days":
                return self.working_days_on(interval.amount)
            case "days_of_first_contact":
                if self.first_contact_on is None:
                    raise ValueError("an interval from a first contact that was not recorded has no end")
                return self.on_or_before(self.first_contact_on + timedelta(days=interval.amount))[0]
            case _:
                return self.on_or_before(self.today + timedelta(days=interval.days()))[0]


def review(
    prepared: PreparedEdition, counting: Counting, tiers: TierRange, outcome: Disposition, days: Days
) -> Review:
    """The earliest of every interval that counts; rules that are undetermined count."""
    settings = days.settings
    reviews, lengths, ids = settings.reviews, settings.lengths, prepared.rule_ids
    bounds = [(reviews[place], ids[place]) for place in counting if reviews[place] != NO_REVIEW]
    bounds += [(lengths[name], name) for name in settings_that_bind(tiers, outcome)]
    at_tier = settings.tier_reviews[tiers.given]
    if at_tier != NO_REVIEW:
        bounds.append((at_tier, "tier"))
    earliest = min(bounds)[0]
    due_on, fits = days.on_or_before(days.today + timedelta(days=earliest))
    set_by = tuple([name for amount, name in bounds if amount == earliest])
    return Review(due_on, 24 * earliest, set_by, no_working_day=not fits)


def latest_review(settings: InForce, counting: Counting, stopped: bool) -> int:
    """The longest the review can become, in days, whatever the unanswered questions turn out to be."""
    bounds = [settings.lengths["review_always"]]
    if stopped:
        bounds.append(settings.lengths["review_stop_and_escalate"])
    reviews = settings.reviews
    bounds += [
        reviews[place]
        for place, state in counting.items()
        if state == APPLIES and reviews[place] != NO_REVIEW
    ]
    return min(bounds)


def settings_that_bind(tiers: TierRange, outcome: Disposition) -> list[str]:
    """Names of the settings that a review of this tier and disposition is within."""
    names = ["review_always"]
    if outcome == "cannot_decide_yet":
        names.append("review_cannot_decide_yet")
    if outcome in CHANGES:
        names.append("review_change")
    if not tiers.determined:
        names.append("review_undetermined")
    if outcome == "stop_and_escalate":
        names.append("review_stop_and_escalate")
    if tiers.given < tiers.target:
        names.append("review_below_target")
    return names
