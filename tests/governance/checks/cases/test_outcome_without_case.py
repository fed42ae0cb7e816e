from limbtier.governance.checks.cases.outcome_without_case import CHECK
from tests.governance.checks.conftest import Bench


def test_a_tier_or_disposition_that_no_case_comes_to_is_found(bench: Bench) -> None:
    cases = tuple(
        one for one in bench.context.cases if one.tier != "strong" and one.disposition != "step_down"
    )
    assert bench.new(CHECK, bench.core, cases=cases) == [("disposition", "step_down"), ("tier", "strong")]
