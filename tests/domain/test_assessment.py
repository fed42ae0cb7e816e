"""The day of a contact, from which every interval counts."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from limbtier.domain.assessment import day_of


@pytest.mark.parametrize(
    ("moment", "day"),
    [
        # In summer the clocks of the United Kingdom are an hour ahead of UTC, by the Summer Time Act 1972.
        ("2026-07-01T22:59:59+00:00", date(2026, 7, 1)),
        ("2026-07-01T23:00:00+00:00", date(2026, 7, 2)),
        ("2026-07-02T00:30:00+01:00", date(2026, 7, 2)),
        ("2026-01-01T23:59:59+00:00", date(2026, 1, 1)),
        ("2026-01-02T01:30:00+02:00", date(2026, 1, 1)),
        # The clocks change at 01:00 UTC on the last Sundays of March and October.
        ("2026-03-28T23:30:00+00:00", date(2026, 3, 28)),
        ("2026-10-24T23:30:00+00:00", date(2026, 10, 25)),
        ("2026-10-25T23:30:00+00:00", date(2026, 10, 25)),
    ],
)
def test_the_day_of_a_contact_is_that_of_the_clocks_of_the_united_kingdom(moment: str, day: date) -> None:
    assert day_of(datetime.fromisoformat(moment)) == day
