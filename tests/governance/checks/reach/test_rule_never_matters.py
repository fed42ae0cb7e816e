from limbtier.domain.rule import Conclusions, Limit
from limbtier.governance.checks.reach.rule_never_matters import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import all_of, and_rule, edges, is_


def test_a_limit_above_one_that_always_counts_is_found(bench: Bench) -> None:
    narrower = all_of(edges("abpi", at_least="0.6", below="0.7"), is_("vascular_advice", "none"))
    idle = and_rule(bench.core, narrower, Conclusions(limit=Limit("moderate")))
    assert bench.proved(CHECK, idle) == [("rule", "made-up")]


def test_the_same_limit_one_tier_lower_matters(bench: Bench) -> None:
    narrower = all_of(edges("abpi", at_least="0.6", below="0.7"), is_("vascular_advice", "none"))
    assert bench.proved(CHECK, and_rule(bench.core, narrower, Conclusions(limit=Limit("withhold")))) == []
