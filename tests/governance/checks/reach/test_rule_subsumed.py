from limbtier.domain.rule import Conclusions
from limbtier.governance.checks.reach.rule_subsumed import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import all_of, and_rule, is_


def test_a_narrower_rule_that_says_the_same_is_found(bench: Bench) -> None:
    narrower = all_of(is_("oedema", "to_knee"), is_("diabetes", "yes"))
    covered = and_rule(bench.core, narrower, Conclusions(propose="moderate"))
    assert bench.proved(CHECK, covered) == [("rule", "made-up")]


def test_a_narrower_rule_that_says_more_is_not(bench: Bench) -> None:
    narrower = all_of(is_("oedema", "to_knee"), is_("diabetes", "yes"))
    more = Conclusions(propose="moderate", caution=("Look at the feet.",))
    assert bench.proved(CHECK, and_rule(bench.core, narrower, more)) == []
