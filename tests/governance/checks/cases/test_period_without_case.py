from dataclasses import replace
from datetime import date

from limbtier.domain.edition import DatedValue, Edition
from limbtier.domain.interval import Interval
from limbtier.governance.checks.cases.period_without_case import CHECK
from tests.governance.checks.conftest import Bench


def changing(edition: Edition, on: date, before: date) -> Edition:
    setting = edition.settings["routine_vascular_referral"]
    values = (
        DatedValue(Interval("days", 14), edition.effective_from, before),
        DatedValue(Interval("days", 10), on, None),
    )
    return replace(edition, settings={**edition.settings, setting.name: replace(setting, values=values)})


def test_a_value_that_holds_on_no_day_of_a_case_is_found(bench: Bench) -> None:
    last = max(one.assessed_on for one in bench.context.cases)
    later = changing(bench.core, date(last.year + 1, 7, 1), date(last.year + 1, 6, 30))
    assert bench.new(CHECK, later) == [("setting", "routine_vascular_referral")]


def test_values_between_which_cases_fall_are_not(bench: Bench) -> None:
    days = sorted(one.assessed_on for one in bench.context.cases)
    assert days[0] < days[-1]
    assert bench.new(CHECK, changing(bench.core, days[-1], days[0])) == []
