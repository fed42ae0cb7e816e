"""Whether one deadline is never later than another: on every day of the calendars, for each first contact."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from limbtier.domain.interval import Interval
from limbtier.engine.due_dates import Days
from limbtier.engine.in_force import InForce
from limbtier.governance.proofs.formulas import Formula, all_of, any_of, negated
from limbtier.governance.proofs.requests import Request
from limbtier.measures.working_days import WorkingCalendar

FROM_FIRST_CONTACT: Final = "days_of_first_contact"
_MARGIN: Final = timedelta(days=90)


@dataclass(frozen=True, slots=True)
class Within:
    """For which first contacts one deadline is never later than another: where none was recorded, after so
    many days each (the last stands for every longer time), and a day and nation on which it is later."""

    unrecorded: bool
    after_days: tuple[bool, ...]
    later_on: tuple[str, date] | None = None

    def formula(self, request: Request) -> Formula:
        """It is never later for the first contact of a request."""
        sent = request.get("first_contact_on")
        if all(self.after_days) and self.unrecorded:
            return True
        if sent is None or sent.entry.kind != "date":
            return self.unrecorded
        longest = len(self.after_days) - 1
        recorded = any_of(
            sent.value >= days if days == longest else sent.value == days
            for days, holds in enumerate(self.after_days)
            if holds
        )
        return any_of(
            (
                all_of((negated(sent.given), self.unrecorded)),
                all_of((sent.given, recorded)),
            )
        )


def surely_within(one: Interval, other: Interval) -> bool:
    """Whether the one is never later, whatever day it is; False where that takes counting."""
    if one == other:
        return True
    counted = ("immediately", "same_day", "hours", "days")
    if one.kind in counted and other.kind in counted:
        return one.days() <= other.days()
    return one.kind == other.kind == "working_days" and one.amount <= other.amount


def within(
    one: Interval,
    other: Interval,
    settings: InForce,
    calendars: Mapping[str, WorkingCalendar],
    period: tuple[date, date | None],
) -> Within:
    """Counted out on every day of the period that the calendars reach; where they reach none, not shown."""
    if surely_within(one, other):
        return Within(True, (True,))
    amounts = [interval.amount for interval in (one, other) if interval.kind == FROM_FIRST_CONTACT]
    offsets: list[int | None] = [None, *range(max(amounts, default=-1) + 2)]
    holds = dict.fromkeys(offsets, True)
    later_on: tuple[str, date] | None = None
    counted = False
    farthest = max(_farthest(interval) for interval in (one, other, settings.intervals["overdue_deadline"]))
    for nation, today in _different_days(calendars, period, farthest):
        counted = True
        for offset in [offset for offset in offsets if holds[offset]]:
            contact = None if offset is None else today - timedelta(days=offset)
            days = Days(today, calendars[nation].as_of(today), contact, settings)
            if days.due(days.counted(one)) > days.due(days.counted(other)):
                holds[offset] = False
                later_on = later_on or (nation, today)
    if not counted:
        return Within(False, (False,))
    return Within(holds[None], tuple(holds[days] for days in offsets[1:]), later_on)


def _farthest(interval: Interval) -> int:
    """How many days ahead an interval can reach: each working day comes within a week of the last."""
    if interval.kind == "working_days":
        return 7 * interval.amount + 7
    return interval.amount if interval.kind == FROM_FIRST_CONTACT else interval.days()


def _different_days(
    calendars: Mapping[str, WorkingCalendar], period: tuple[date, date | None], farthest: int
) -> Iterator[tuple[str, date]]:
    """Days of the period that the calendars reach; of those before which the same working days lie, one."""
    seen: set[bytes] = set()
    for nation, calendar in sorted(calendars.items()):
        first = max(period[0], calendar.first)
        last = min(calendar.last - _MARGIN, (period[1] or date.max) - timedelta(days=1))
        length = max((last - first).days + 1, 0)
        ahead = min(length + farthest, (calendar.last - first).days + 1)
        worked: dict[WorkingCalendar, bytes] = {}
        for place in range(length):
            known = calendar.as_of(first + timedelta(days=place))
            if known not in worked:
                days = (first + timedelta(days=one) for one in range(ahead))
                worked[known] = bytes(map(known.is_working_day, days))
            pattern = worked[known][place + 1 : place + 1 + farthest]
            if pattern not in seen:
                seen.add(pattern)
                yield nation, first + timedelta(days=place)
