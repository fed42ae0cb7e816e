from limbtier.domain.condition import AllOf
from limbtier.domain.rule import Limit
from limbtier.governance.checks.reach.tier_unreachable import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import is_, none_of, with_rule, with_then


def test_a_limit_that_always_counts_leaves_a_tier_out_of_reach(bench: Bench) -> None:
    everybody = AllOf((none_of(is_("danger_sign", "yes"), is_("mobility", "walks")),))
    some = with_then(
        with_rule(bench.core, "fragile-skin", when=everybody), "fragile-skin", limit=Limit("moderate")
    )
    assert bench.proved(CHECK, some) == []
    everybody = AllOf((none_of(is_("danger_sign", "yes")),))
    all_ = with_then(
        with_rule(bench.core, "fragile-skin", when=everybody), "fragile-skin", limit=Limit("moderate")
    )
    assert bench.proved(CHECK, all_) == [("tier", "strong")]
