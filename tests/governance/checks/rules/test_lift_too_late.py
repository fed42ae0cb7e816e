import pytest

from limbtier.domain.interval import Interval
from limbtier.governance.checks.rules.lift_too_late import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import arrange, with_then


@pytest.mark.parametrize(
    "within",
    [Interval("days", 29), Interval("working_days", 29), Interval("days_of_first_contact", 42)],
    ids=str,
)
def test_a_limit_that_waits_past_the_longest_review_is_found(within: Interval, bench: Bench) -> None:
    late = with_then(bench.core, "stent", arrange=(arrange("vascular_opinion", within),))
    assert bench.new(CHECK, late) == [("rule", "stent")]


def test_one_arrangement_that_is_soon_enough_will_do(bench: Bench) -> None:
    both = (
        arrange("vascular_referral", Interval("days", 42)),
        arrange("vascular_opinion", Interval("days", 28)),
    )
    assert bench.new(CHECK, with_then(bench.core, "stent", arrange=both)) == []


def test_an_arrangement_of_a_rule_that_waits_for_nothing_may_take_longer(bench: Bench) -> None:
    later = (arrange("cause_of_swelling", Interval("days", 60)),)
    assert bench.new(CHECK, with_then(bench.core, "unexplained-swelling", arrange=later)) == []
