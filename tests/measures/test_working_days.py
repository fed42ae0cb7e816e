"""Working days against numpy, and the list of bank holidays against two open libraries.

Sources: the GOV.UK bank holiday list as packaged in govuk-bank-holidays 0.19, the library holidays 0.109,
and numpy.busday_offset. Scotland's 15 June 2026 was proclaimed: Scottish Government release, 5 February 2026.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import holidays
import numpy as np
import pytest
import yaml
from govuk_bank_holidays.bank_holidays import BankHolidays

from limbtier.measures.working_days import CalendarRangeError, Closure, WorkingCalendar

LIST = Path(__file__).resolve().parents[2] / "rules" / "calendars" / "bank_holidays.yaml"
CODES = {"england": "ENG", "wales": "WLS", "scotland": "SCT", "northern_ireland": "NIR"}
DIVISIONS = {
    "england": BankHolidays.ENGLAND_AND_WALES,
    "wales": BankHolidays.ENGLAND_AND_WALES,
    "scotland": BankHolidays.SCOTLAND,
    "northern_ireland": BankHolidays.NORTHERN_IRELAND,
}
PROCLAIMED = date(2026, 6, 15)


@pytest.fixture(scope="module")
def listed() -> dict[str, Any]:
    found = yaml.safe_load(LIST.read_text(encoding="utf-8"))
    assert isinstance(found, dict)
    return found


@pytest.fixture(params=sorted(CODES))
def nation(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def calendar(listed: dict[str, Any], nation: str) -> WorkingCalendar:
    days = frozenset(date.fromisoformat(day) for day in listed[nation])
    return WorkingCalendar(nation, days, listed["first"], listed["last"])


def of_gov_uk(nation: str) -> set[date]:
    found = BankHolidays(use_cached_holidays=True).get_holidays(division=DIVISIONS[nation])
    return {entry["date"] for entry in found}


def of_library(nation: str, calendar: WorkingCalendar) -> set[date]:
    years = range(calendar.first.year, calendar.last.year + 1)
    return set(holidays.country_holidays("GB", subdiv=CODES[nation], years=years))


def weekdays(days: set[date], calendar: WorkingCalendar) -> set[date]:
    return {day for day in days if calendar.first <= day <= calendar.last and day.weekday() < 5}


def every_day(calendar: WorkingCalendar) -> Iterator[date]:
    for number in range((calendar.last - calendar.first).days + 1):
        yield calendar.first + timedelta(days=number)


def rolled(calendar: WorkingCalendar, day: date) -> date | None:
    return calendar.last_working_day(max(calendar.first, day - timedelta(days=14)), day)


def test_the_list_is_the_union_of_both_open_lists(calendar: WorkingCalendar, nation: str) -> None:
    union = weekdays(of_gov_uk(nation) | of_library(nation, calendar), calendar)
    assert calendar.days_off == union


def test_both_open_lists_agree_but_for_the_proclaimed_day(calendar: WorkingCalendar, nation: str) -> None:
    only_one = of_gov_uk(nation) ^ of_library(nation, calendar)
    assert weekdays(only_one, calendar) == ({PROCLAIMED} if nation == "scotland" else set())


def test_both_open_lists_cover_the_years_of_the_list(calendar: WorkingCalendar, nation: str) -> None:
    for source in (of_gov_uk(nation), of_library(nation, calendar)):
        # The last weekday bank holiday of 2028 is 26 December: the year is complete in both.
        assert calendar.last == date(2028, 12, 31)
        assert max(weekdays(source, calendar)) == date(2028, 12, 26)
        assert min(weekdays(source, calendar)) == date(2024, 1, 1)
        assert {day.year for day in weekdays(source, calendar)} == set(range(2024, 2029))


def test_the_list_is_in_order_and_has_weekdays_only(listed: dict[str, Any], nation: str) -> None:
    days = listed[nation]
    assert days == sorted(set(days))
    assert all(date.fromisoformat(day).weekday() < 5 for day in days)


def test_the_list_equals_the_table_in_the_outside_data(
    calendar: WorkingCalendar, nation: str, shared_data: Path
) -> None:
    file = shared_data / "bank_holidays" / "uk_weekday_bank_holidays_2024_2028.json"
    table = json.loads(file.read_text(encoding="utf-8"))
    assert sorted(day.isoformat() for day in calendar.days_off) == table[CODES[nation]]["weekday_union"]


def by_numpy(calendar: WorkingCalendar, days: list[date], steps: int) -> list[date]:
    """Each day rolled back to a working day, then that many working days on."""
    moved = np.busday_offset(
        np.array(days, dtype="datetime64[D]"),
        steps,
        roll="backward",
        holidays=np.array(sorted(calendar.days_off), dtype="datetime64[D]"),
    )
    return [date.fromisoformat(str(day)) for day in moved]


def test_every_day_rolls_back_as_numpy_rolls_it(calendar: WorkingCalendar) -> None:
    days = list(every_day(calendar))
    assert len(days) == 1827
    for day, expected in zip(days, by_numpy(calendar, days, 0), strict=True):
        # The list starts with a bank holiday, so its first day rolls out of it.
        assert rolled(calendar, day) == (expected if expected >= calendar.first else None)
        assert calendar.is_working_day(day) == (expected == day)


def test_the_day_after_every_day_is_the_one_numpy_gives(calendar: WorkingCalendar) -> None:
    days = [day for day in every_day(calendar) if day < date(2028, 12, 29)]  # the last working day
    for day, expected in zip(days, by_numpy(calendar, days, 1), strict=True):
        assert calendar.next_working_day(day) == expected


def test_the_longest_roll_is_four_days(calendar: WorkingCalendar) -> None:
    # Our own count, 2024-2028.
    rolls = [(day, rolled(calendar, day)) for day in every_day(calendar)]
    assert max((day - found).days for day, found in rolls if found) == 4


@pytest.mark.parametrize(
    ("nation", "due", "expected"),
    [
        # Worked with numpy.busday_offset(roll="backward"); each is a day where nations or rules differ.
        ("england", "2024-03-29", "2024-03-28"),
        ("scotland", "2024-04-01", "2024-04-01"),
        ("scotland", "2024-12-26", "2024-12-24"),
        ("england", "2026-12-28", "2026-12-24"),
        ("england", "2026-04-06", "2026-04-02"),
        ("scotland", "2026-04-06", "2026-04-06"),
        ("scotland", "2026-06-15", "2026-06-12"),
        ("england", "2026-06-15", "2026-06-15"),
        ("northern_ireland", "2026-07-13", "2026-07-10"),
        ("northern_ireland", "2025-03-17", "2025-03-14"),
        ("wales", "2025-04-21", "2025-04-17"),
        ("scotland", "2025-08-04", "2025-08-01"),
        ("scotland", "2027-01-04", "2026-12-31"),
    ],
    indirect=["nation"],
)
def test_days_that_differ_between_nations(calendar: WorkingCalendar, due: str, expected: str) -> None:
    assert rolled(calendar, date.fromisoformat(due)) == date.fromisoformat(expected)


EASTER = WorkingCalendar(
    "england", frozenset({date(2026, 4, 3), date(2026, 4, 6)}), date(2026, 4, 1), date(2026, 4, 12)
)


def test_there_may_be_no_working_day_before_the_end() -> None:
    # From Thursday 2 April 2026: Good Friday, the weekend and Easter Monday.
    assert EASTER.last_working_day(date(2026, 4, 2), date(2026, 4, 6)) is None
    assert EASTER.last_working_day(date(2026, 4, 2), date(2026, 4, 7)) == date(2026, 4, 7)


def test_today_is_not_after_today() -> None:
    assert EASTER.last_working_day(date(2026, 4, 2), date(2026, 4, 2)) is None
    assert EASTER.next_working_day(date(2026, 4, 2)) == date(2026, 4, 7)


@pytest.mark.parametrize(
    ("after", "not_after"),
    [("2026-03-31", "2026-04-02"), ("2026-04-02", "2026-04-13"), ("2026-04-13", "2026-04-02")],
)
def test_a_date_outside_the_list_is_refused(after: str, not_after: str) -> None:
    with pytest.raises(CalendarRangeError, match="2026-04-01 to 2026-04-12") as caught:
        EASTER.last_working_day(date.fromisoformat(after), date.fromisoformat(not_after))
    assert caught.value.code == "calendar-range"
    assert "england" in caught.value.diagnostics[0].message


def test_the_day_after_the_end_of_the_list_is_refused() -> None:
    # Friday 10 April is the last working day of the list; what follows the weekend is not known.
    with pytest.raises(CalendarRangeError, match="2026-04-13"):
        EASTER.next_working_day(date(2026, 4, 10))
    with pytest.raises(CalendarRangeError, match="2026-03-31"):
        EASTER.next_working_day(date(2026, 3, 31))


def test_a_calendar_that_contradicts_itself_is_refused() -> None:
    with pytest.raises(ValueError, match="before it starts"):
        WorkingCalendar("wales", frozenset(), date(2026, 2, 1), date(2026, 1, 1))
    with pytest.raises(ValueError, match="outside"):
        WorkingCalendar("wales", frozenset({date(2027, 1, 1)}), date(2026, 1, 1), date(2026, 12, 31))


# Teams: a week of their own, and closures that count from the day on which they were announced.

YEAR = (date(2026, 1, 1), date(2026, 12, 31))
CLINIC = WorkingCalendar(
    "clinic",
    frozenset({date(2026, 12, 25)}),
    *YEAR,
    weekdays=frozenset({0, 2, 4}),
    closures=(
        Closure(date(2026, 12, 23), date(2026, 12, 23), date(2026, 12, 10)),
        Closure(date(2026, 12, 14), date(2026, 12, 18), date(2026, 11, 2)),
    ),
)


def test_a_team_works_on_its_own_days_of_the_week() -> None:
    worked = np.busdaycalendar(weekmask="Mon Wed Fri", holidays=[np.datetime64("2026-12-25")])
    for count in range(365):
        day = YEAR[0] + timedelta(days=count)
        assert CLINIC.is_working_day(day) == bool(np.is_busday(np.datetime64(day), busdaycal=worked)), day


def test_a_closure_counts_from_the_day_on_which_it_was_announced() -> None:
    before, between, after = (CLINIC.as_of(date(2026, *day)) for day in ((11, 1), (11, 2), (12, 10)))
    assert [one.is_working_day(date(2026, 12, 16)) for one in (before, between, after)] == [
        True,
        False,
        False,
    ]
    assert [one.is_working_day(date(2026, 12, 23)) for one in (before, between, after)] == [True, True, False]


def test_more_days_off_never_move_a_last_working_day_later() -> None:
    closed = CLINIC.as_of(date(2026, 12, 31))
    for count in range(330):
        day = YEAR[0] + timedelta(days=count)
        for length in (1, 2, 3, 7, 14, 28):
            end = day + timedelta(days=length)
            found, without = closed.last_working_day(day, end), CLINIC.last_working_day(day, end)
            assert found is None or (without is not None and day < found <= without), (day, length)


def test_a_team_that_never_works_is_refused() -> None:
    with pytest.raises(ValueError, match="no day of the week"):
        WorkingCalendar("nobody", frozenset(), *YEAR, weekdays=frozenset())
