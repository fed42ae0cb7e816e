"""Reads the calendars of teams: their own working days, local holidays and closures."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Final

from limbtier.measures.working_days import Closure, WorkingCalendar
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names, distinct
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.read_calendar import NATIONS
from limbtier.rulesets.records import Fields, Key, ListOf, Record
from limbtier.rulesets.shapes import Day, OneOf, Text, Word

WEEKDAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

FIRST: Final = Key("first", Day(), "the first day on which the team does not work", required=True)
LAST: Final = Key("last", Day(), "the last day of it; the first day when left out")
ANNOUNCED: Final = Key(
    "announced_on",
    Day(),
    "the day from which decisions count it: the day on which you add it, so that earlier decisions stay",
    required=True,
)
BECAUSE: Final = Key("because", Text(), "why the team does not work then", required=True)
CLOSURE: Final = Record("a closure", (FIRST, LAST, ANNOUNCED, BECAUSE))

NAME: Final = Key(
    "name",
    Word(
        r"^[a-z][a-z0-9_]{0,40}$", "bad-name", "Write small letters, digits and `_`, beginning with a letter."
    ),
    "what a request names as its calendar",
    required=True,
)
TITLE: Final = Key("title", Text(), "the team in words", required=True)
NATION: Final = Key("nation", OneOf(NATIONS), "whose bank holidays there are", required=True)
WORKS_ON: Final = Key(
    "works_on", ListOf(OneOf(WEEKDAYS), least=1), "the days of the week on which it works", required=True
)
BANK_HOLIDAYS: Final = Key(
    "bank_holidays",
    OneOf(("off", "worked")),
    "whether it is off on bank holidays or works on them",
    required=True,
)
CLOSURES: Final = Key("closures", ListOf(CLOSURE, least=0), "local holidays, training days and the like")
TEAMS: Final = Key(
    "teams",
    ListOf(Record("a team", (NAME, TITLE, NATION, WORKS_ON, BANK_HOLIDAYS, CLOSURES)), least=0),
    "every team with a calendar of its own",
    required=True,
)
TEAMS_FILE: Final = Record("the file", (TEAMS,))


def read_teams(
    root: Node | None, nations: Mapping[str, WorkingCalendar], found: Findings
) -> Mapping[str, WorkingCalendar]:
    """A calendar for each team of the file. A team's name may not be a nation's."""
    fields = TEAMS_FILE.read(root, "The file", found) if root is not None else None
    listed = fields.get(TEAMS) if fields else None
    names: Names[WorkingCalendar] = Names("calendar")
    for entry in listed.value if listed else ():
        name, nation, worked = entry.get(NAME), entry.get(NATION), entry.get(WORKS_ON)
        if name and name.value in NATIONS:
            message = f"`{name.value}` is the calendar of a nation."
            found.add("duplicate-name", name.place, message, "Give the team a name of its own.")
            continue
        base = nations.get(nation.value) if nation else None
        closures = _closures(entry, base, found)
        weekdays = frozenset(map(WEEKDAYS.index, distinct(worked.value, found))) if worked else None
        holidays = entry.get(BANK_HOLIDAYS)
        if name and base and weekdays and holidays:
            off = base.days_off if holidays.value == "off" else frozenset[date]()
            calendar = WorkingCalendar(name.value, off, base.first, base.last, weekdays, closures)
            names.give(name, calendar, found)
    return names.known


def _closures(entry: Fields, base: WorkingCalendar | None, found: Findings) -> tuple[Closure, ...]:
    listed = entry.get(CLOSURES)
    closures: list[Closure] = []
    for one in listed.value if listed else ():
        first, announced = one.get(FIRST), one.get(ANNOUNCED)
        last: Placed[date] | None = one.get(LAST) if one.wrote(LAST) else first
        if not (first and last and announced):
            continue
        if last.value < first.value:
            message = "`last` is before `first`."
            found.add("dates-out-of-order", last.place, message, "Exchange or correct the two days.")
        elif base and not (base.first <= first.value and last.value <= base.last):
            message = f"{first.value} to {last.value} is not between {base.first} and {base.last}."
            advice = "Correct the days, or extend the bank holidays first."
            found.add("holiday-outside", first.place, message, advice)
        else:
            closures.append(Closure(first.value, last.value, announced.value))
    return tuple(closures)
