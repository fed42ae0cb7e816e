"""Working days of a nation, Monday to Friday without its bank holidays, or of a team with a week of its own.

A review that would fall on a day off comes earlier, never later. The list of holidays ends; a date outside
it is refused, because a day off that is not on the list would look like a working day. What a team closes
for counts from the day on which that was announced, so that a decision of before can be made again as it was.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Final

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError

_ONE_DAY: Final = timedelta(days=1)
MONDAY_TO_FRIDAY: Final = frozenset(range(5))
"""Days of the week as `date.weekday` counts them, from 0 for Monday."""


class CalendarRangeError(LimbtierError):
    """A date lies outside the list of bank holidays, so whether it is a working day is not known."""

    code = "calendar-range"


@dataclass(frozen=True, slots=True)
class Closure:
    """Days on which a team does not work, `first` and `last` included, known from `announced_on`."""

    first: date
    last: date
    announced_on: date

    def days(self) -> frozenset[date]:
        """Every day of it."""
        return frozenset(self.first + _ONE_DAY * count for count in range((self.last - self.first).days + 1))


@dataclass(frozen=True, slots=True)
class WorkingCalendar:
    """The working days of a nation or a team, known from `first` to `last`, both included.

    `days_off` are bank holidays and the like; `weekdays` the days of the week worked, 0 for Monday;
    `closures` count in what `as_of` gives for a day, and in nothing else.
    Raises ValueError when `last` is before `first`, a day off lies outside, or no day of the week is worked.
    """

    name: str
    days_off: frozenset[date]
    first: date
    last: date
    weekdays: frozenset[int] = MONDAY_TO_FRIDAY
    closures: tuple[Closure, ...] = ()
    _announced: tuple[date, ...] = field(init=False, repr=False)
    _known: dict[int, WorkingCalendar] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError(f"the calendar ends on {self.last}, before it starts on {self.first}")
        if outside := sorted(day for day in self.days_off if not self.first <= day <= self.last):
            raise ValueError(f"holiday {outside[0]} lies outside {self.first} to {self.last}")
        if not self.weekdays:
            raise ValueError("no day of the week is worked")
        ordered = sorted(self.closures, key=lambda one: one.announced_on)
        object.__setattr__(self, "closures", tuple(ordered))
        object.__setattr__(self, "_announced", tuple(one.announced_on for one in ordered))
        object.__setattr__(self, "_known", {})

    def as_of(self, day: date) -> WorkingCalendar:
        """The calendar as it was known on a day: closures announced by then are days off."""
        count = bisect_right(self._announced, day)
        if not count:
            return self
        known = self._known.get(count)
        if known is None:
            closed = frozenset[date]().union(*(one.days() for one in self.closures[:count]))
            known = replace(self, days_off=self.days_off | closed, closures=())
            self._known[count] = known
        return known

    def is_working_day(self, day: date) -> bool:
        """A day of the week that is worked, and no day off. Raises CalendarRangeError outside the list."""
        self._refuse_outside(day)
        return day.weekday() in self.weekdays and day not in self.days_off

    def last_working_day(self, after: date, not_after: date) -> date | None:
        """The last working day strictly after `after` and on or before `not_after`; None if there is none.

        Raises CalendarRangeError when either date is outside the list.
        """
        self._refuse_outside(after)
        self._refuse_outside(not_after)
        day = not_after
        while day > after:
            if day.weekday() in self.weekdays and day not in self.days_off:
                return day
            day -= _ONE_DAY
        return None

    def next_working_day(self, after: date) -> date:
        """The first working day strictly after `after`.

        Raises CalendarRangeError when `after`, or every day after it that might do, is outside the list.
        """
        self._refuse_outside(after)
        day = after + _ONE_DAY
        while not self.is_working_day(day):
            day += _ONE_DAY
        return day

    def _refuse_outside(self, day: date) -> None:
        if self.first <= day <= self.last:
            return
        known = f"{self.first} to {self.last}"
        message = f"{day} is outside the bank holidays known for {self.name}, {known}."
        advice = "Give a date within them, or extend rules/calendars/bank_holidays.yaml from the open lists."
        raise CalendarRangeError([Diagnostic(CalendarRangeError.code, message, advice)])
