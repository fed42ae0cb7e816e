"""A simulated year of an invented caseload: the due list and the picture of the caseload are read a second
time from the log alone, in plain code, on several days of the year."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from tests.properties.plain_caseload import british_day
from tests.properties.year_compared import compare_year

EPISODES = 60
HAPPENS = (
    "contact",
    "correction",
    "late",
    "sent again",
    "arterial_result_received",
    "advice_given",
    "review_missed",
    "compression_removed",
    "compression_applied",
    "healed",
    "died",
    "moved_away",
    "entered_in_error",
)
SORTS = (
    "review due",
    "stuck since",
    "assessment overdue since",
    "statuses",
    "order of the list",
    "counts",
    "legs by tier",
    "numbers of the picture",
)


def test_a_year_read_a_second_time_from_its_log_is_the_same(tmp_path: Path) -> None:
    comparison, counts = compare_year(tmp_path, EPISODES, seed=20)
    assert comparison.differences == []
    assert [name for name in HAPPENS if not counts[name]] == []
    assert [name for name in SORTS if comparison.compared[name] < 40] == []


@pytest.mark.parametrize(
    "turn", [date(2027, 10, 31), date(2028, 3, 26), date(2028, 2, 29), date(2027, 12, 31)]
)
def test_the_plain_day_is_that_of_the_time_zone_data(turn: date) -> None:
    start = datetime(turn.year, turn.month, turn.day, tzinfo=UTC) - timedelta(days=1)
    for minutes in range(0, 3 * 24 * 60, 30):
        moment = start + timedelta(minutes=minutes)
        expected = moment.astimezone(ZoneInfo("Europe/London")).date()
        assert british_day(moment) == expected
        assert british_day(moment.astimezone(timezone(timedelta(hours=5)))) == expected
