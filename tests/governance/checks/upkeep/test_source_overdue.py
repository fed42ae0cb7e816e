from dataclasses import replace
from datetime import date, timedelta

from limbtier.governance.checks.upkeep.source_overdue import CHECK
from tests.governance.checks.conftest import Bench


def test_a_source_is_due_the_day_after_its_time_is_up(bench: Bench) -> None:
    looked_at = bench.core.sources["sign-120"].checked_on
    last = looked_at + timedelta(days=365)
    assert bench.new(CHECK, bench.core, day=last) == []
    assert ("source", "sign-120") in bench.new(CHECK, bench.core, day=last + timedelta(days=1))


def test_a_day_still_to_come_is_found(bench: Bench) -> None:
    source = replace(bench.core.sources["sign-120"], checked_on=date(2027, 11, 25))
    late = replace(bench.core, sources={**bench.core.sources, "sign-120": source})
    assert bench.new(CHECK, late) == [("source", "sign-120")]
