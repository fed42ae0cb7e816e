"""Reads the bank holidays of the four nations into working calendars."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from limbtier.measures.working_days import WorkingCalendar
from limbtier.rulesets.findings import Findings
from limbtier.rulesets.names import distinct
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.records import Key, ListOf, Record
from limbtier.rulesets.shapes import Day, Text

NATIONS: Final = ("england", "wales", "scotland", "northern_ireland")

SOURCE: Final = Key("source", Text(), "where the days are from", required=True)
FIRST: Final = Key("first", Day(), "the first day for which all holidays are listed", required=True)
LAST: Final = Key("last", Day(), "the last day for which all holidays are listed", required=True)
HOLIDAYS: Final = tuple(
    Key(nation, ListOf(Day()), "its bank holidays on weekdays", required=True) for nation in NATIONS
)
CALENDAR_FILE: Final = Record("the calendar", (SOURCE, FIRST, LAST, *HOLIDAYS))


def read_calendars(root: Node | None, found: Findings) -> Mapping[str, WorkingCalendar]:
    """A calendar for each nation; empty when anything was refused."""
    fields = CALENDAR_FILE.read(root, "The file", found) if root is not None else None
    if fields is None:
        return {}
    first, last = fields.get(FIRST), fields.get(LAST)
    if first and last and last.value < first.value:
        found.add(
            "dates-out-of-order", last.place, "`last` is before `first`.", "Exchange or correct the two days."
        )
        return {}
    calendars: dict[str, WorkingCalendar] = {}
    for key in HOLIDAYS:
        days = fields.get(key)
        if days is None:
            continue
        for day in days.value:
            if first and last and not first.value <= day.value <= last.value:
                message = f"{day.value} is not between {first.value} and {last.value}."
                found.add("holiday-outside", day.place, message, "Correct the day, or `first` and `last`.")
        holidays = frozenset(distinct(days.value, found))
        if first and last and not len(found):
            calendars[key.name] = WorkingCalendar(key.name, holidays, first.value, last.value)
    return calendars
