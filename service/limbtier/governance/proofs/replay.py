"""What the solver found, decided by the engine: nothing counts as shown that the engine does not show."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final

from limbtier.domain.assessment import Assessment
from limbtier.domain.decision import LimbDecision
from limbtier.domain.rule import GuardRails
from limbtier.engine.compiled import compile_conditions
from limbtier.engine.decide import decide_limb
from limbtier.engine.due_dates import Days
from limbtier.engine.guard import broken_guard_rails
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.errors import LimbtierError
from limbtier.governance.proofs.witness import SIDE, Answers, Moment, request_of
from limbtier.measures.working_days import WorkingCalendar

MORNING: Final = time(9, 30, tzinfo=UTC)
_LONGEST_DEADLINE: Final = timedelta(days=90)
_DAYS_TRIED: Final = 14


class CannotReplay(Exception):
    """The engine does not take the request, or gives no answer; the text says why."""


@dataclass(frozen=True, slots=True)
class Replayed:
    """One request decided by the engine. `broken` are the guard rails for which it would refuse to answer."""

    answers: Answers
    moment: Moment
    request: Mapping[str, Any]
    decision: LimbDecision
    broken: tuple[str, ...]


class Replayer:
    """Decides requests by one edition, guard rails set aside and checked afterwards."""

    def __init__(self, prepared: PreparedEdition, calendars: Mapping[str, WorkingCalendar]) -> None:
        self.prepared = prepared
        self.calendars = calendars
        self._bare = _without_guard_rails(prepared)

    def decide(self, answers: Answers, moment: Moment) -> Replayed:
        """The decision about answers. Raises CannotReplay."""
        request = request_of(self.prepared.edition, answers, moment)
        assessment = self._read(request, moment)
        calendar = self.calendars[moment.calendar]
        try:
            decision = decide_limb(self._bare, SIDE, assessment, calendar)
        except (LimbtierError, AssertionError) as error:
            raise CannotReplay(f"the engine gives no answer: {error}") from error
        facts = decision.trace.facts
        first = facts.get("first_contact_on")
        settings = self.prepared.periods.on(moment.day)
        days = Days(moment.day, calendar, first if isinstance(first, date) else None, settings)
        broken = tuple(broken_guard_rails(self.prepared, decision, days))
        return Replayed(answers, moment, request, decision, broken)

    def _read(self, request: Mapping[str, Any], moment: Moment) -> Assessment:
        """Through the same strict reader that a caller's request goes through."""
        reader = self.prepared.answers
        given = request["limbs"][SIDE]
        if not given:
            raise CannotReplay("nothing was answered about the leg")
        person, found = reader.read(request["person"], "person", ["person"], moment.day)
        limb, more = reader.read(given, "limb", ["limbs", SIDE], moment.day)
        found += more
        found += reader.complete(person, "person", {}, ["person"])
        found += reader.complete(limb, "limb", person, ["limbs", SIDE])
        refused = [item.message for item in found if item.severity == "error"]
        if refused:
            raise CannotReplay("the request is refused: " + " ".join(refused))
        return Assessment(moment.at, moment.calendar, None, None, person, {SIDE: limb}, request)

    def moments(self, first: date, before: date | None) -> Iterator[Moment]:
        """Days of one period to decide on, a plain week first; none where no calendar reaches it."""
        for nation in sorted(self.calendars):
            calendar = self.calendars[nation]
            start = max(first, calendar.first)
            last = calendar.last - _LONGEST_DEADLINE
            if before is not None:
                last = min(last, before - timedelta(days=1))
            days = [start + timedelta(days=place) for place in range(max((last - start).days + 1, 0))]
            plain = next((place for place, day in enumerate(days) if _plain_week(calendar, day)), 0)
            for day in days[plain : plain + _DAYS_TRIED]:
                yield Moment(datetime.combine(day, MORNING), nation)


def _plain_week(calendar: WorkingCalendar, day: date) -> bool:
    """A Monday after which no bank holiday comes for two weeks."""
    later = (day + timedelta(days=place) for place in range(14))
    return day.weekday() == 0 and not any(one in calendar.days_off for one in later)


def _without_guard_rails(prepared: PreparedEdition) -> PreparedEdition:
    """The same edition, deciding also where the live service would refuse to."""
    rails = GuardRails(prepared.guard_rails.version, prepared.guard_rails.digest, ())
    return replace(prepared, guard_rails=rails, guard_checks=(), guards=compile_conditions([]))


def in_words(replayed: Replayed) -> tuple[str, ...]:
    """What the engine says, in a few plain sentences."""
    decision = replayed.decision
    review = decision.review
    held = [limit.rule for limit in decision.limits if limit.at_tier_given]
    tiers = (
        f"up to {decision.highest_possible_tier} once all is answered, for {decision.target_tier} in the end"
    )
    lines = [
        f"Decided on {replayed.moment.day}: {decision.disposition}, tier {decision.tier} ({tiers}).",
        f"Review within {review.within_hours} hours, on {review.due_on}, set by {', '.join(review.set_by)}.",
    ]
    if held:
        lines.append(f"Held there by {', '.join(held)}.")
    if replayed.broken:
        lines.append(f"The service refuses to give this answer: it breaks {', '.join(replayed.broken)}.")
    return tuple(lines)
