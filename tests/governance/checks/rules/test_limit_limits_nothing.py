from limbtier.domain.rule import Limit
from limbtier.governance.checks.rules.limit_limits_nothing import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import with_then


def test_a_limit_to_the_highest_tier_and_a_proposal_of_the_lowest_are_found(bench: Bench) -> None:
    idle = with_then(bench.core, "stent", limit=Limit("strong", "specialist_advice"))
    assert bench.new(CHECK, idle) == [("rule", "stent")]
    idle = with_then(bench.core, "goal-wound", propose="withhold")
    assert bench.new(CHECK, idle) == [("rule", "goal-wound")]


def test_the_tiers_next_to_these_are_not_found(bench: Bench) -> None:
    good = with_then(bench.core, "stent", limit=Limit("moderate", "specialist_advice"))
    assert bench.new(CHECK, with_then(good, "goal-wound", propose="support")) == []
