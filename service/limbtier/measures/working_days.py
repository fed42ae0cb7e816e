"""Working days of one nation: Monday to Friday without its bank holidays.

A review that would fall on a day off comes earlier, never later. The list of holidays ends; a date outside
it is refused, because a day off that is not on the list would look like a working day. Bank holidays are
those of the nation: local holidays, and employers who do not observe one, are not known here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError

_ONE_DAY: Final = timedelta(days=1)
_SATURDAY: Final = 5


class CalendarRangeError(LimbtierError):
    """A date lies outside the list of bank holidays, so whether it is a working day is not known."""

    code = "calendar-range"


@dataclass(frozen=True, slots=True)
class WorkingCalendar:
    """Bank holidays of one nation, known from `first` to `last`, both included.

    Raises ValueError when `last` is before `first`, or a holiday lies outside them.
    """

    nation: str
    holidays: frozenset[date]
    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError(f"the calendar ends on {self.last}, before it starts on {self.first}")
        if outside := sorted(day for day in self.holidays if not self.first <= day <= self.last):
            raise ValueError(f"holiday {outside[0]} lies outside {self.first} to {self.last}")

    def is_working_day(self, day: date) -> bool:
        """Monday to Friday and no bank holiday. Raises CalendarRangeError outside the list."""
        self._refuse_outside(day)
        return day.weekday() < _SATURDAY and day not in self.holidays

    def last_working_day(self, after: date, not_after: date) -> date | None:
        """The last working day strictly after `after` and on or before `not_after`; None if there is none.

        Raises CalendarRangeError when either date is outside the list.
        """
        self._refuse_outside(after)
        self._refuse_outside(not_after)
        day = not_after
        while day > after:
            if day.weekday() < _SATURDAY and day not in self.holidays:
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
        message = f"{day} is outside the bank holidays known for {self.nation}, {known}."
        advice = "Give a date within them, or extend rules/calendars/bank_holidays.yaml from the open lists."
        raise CalendarRangeError([Diagnostic(CalendarRangeError.code, message, advice)])
