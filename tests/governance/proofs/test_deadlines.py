"""One interval ends no later than another exactly where counting on the calendars says so."""

from __future__ import annotations

import itertools
import random
from datetime import date, timedelta

from limbtier.domain.interval import Interval
from limbtier.engine.due_dates import Days
from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.proofs.deadlines import surely_within, within
from limbtier.use_cases.decide import ReadyRules

INTERVALS = (
    Interval("immediately"),
    Interval("same_day"),
    Interval("hours", 48),
    Interval("days", 3),
    Interval("days", 14),
    Interval("working_days", 1),
    Interval("working_days", 3),
    Interval("days_of_first_contact", 7),
    Interval("days_of_first_contact", 14),
)


def test_on_random_days_no_deadline_is_later_where_none_may_be(
    core: PreparedEdition, rules: ReadyRules
) -> None:
    chance = random.Random(1)
    settings, period = core.periods.values[0], (date(2026, 1, 1), None)
    for one, other in itertools.product(INTERVALS, INTERVALS):
        found = within(one, other, settings, rules.calendars, period)
        if surely_within(one, other):
            assert found.unrecorded, (one, other)
            assert all(found.after_days), (one, other)
        for _ in range(40):
            calendar = rules.calendars[chance.choice(sorted(rules.calendars))]
            today = date(2026, 1, 1) + timedelta(days=chance.randrange(900))
            offset = chance.choice((None, *range(20)))
            contact = None if offset is None else today - timedelta(days=offset)
            days = Days(today, calendar, contact, settings)
            later = days.due(days.counted(one)) > days.due(days.counted(other))
            longest = len(found.after_days) - 1
            held = found.unrecorded if offset is None else found.after_days[min(offset, longest)]
            assert not (later and held), (one, other, today, offset)


def test_a_day_is_named_on_which_a_deadline_is_later(core: PreparedEdition, rules: ReadyRules) -> None:
    settings = core.periods.values[0]
    one, other = Interval("days", 3), Interval("working_days", 1)
    found = within(one, other, settings, rules.calendars, (date(2026, 1, 1), None))
    assert found.later_on is not None
    nation, day = found.later_on
    days = Days(day, rules.calendars[nation], None, settings)
    assert days.due(one) > days.due(other)


def test_where_no_calendar_reaches_nothing_is_shown(core: PreparedEdition) -> None:
    found = within(
        Interval("days", 3), Interval("working_days", 1), core.periods.values[0], {}, (date(2026, 1, 1), None)
    )
    assert not found.unrecorded
    assert not any(found.after_days)
