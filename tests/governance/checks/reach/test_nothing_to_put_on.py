from limbtier.domain.rule import Conclusions
from limbtier.governance.checks.reach.nothing_to_put_on import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import and_rule, is_, rule_of, with_then, without_rule


def test_a_rule_that_avoids_everything_of_a_tier_leaves_nothing(bench: Bench) -> None:
    strong = tuple(name for name, one in bench.core.materials.items() if one.tiers == ("strong",))
    bare = and_rule(bench.core, is_("fragile_skin", "yes"), Conclusions(avoid=strong))
    toes = rule_of(bench.core, "toes-swollen").then.choose
    assert toes == ("toe_bandage",)
    assert bench.proved(CHECK, bare) == [("tier", "strong")]


def test_a_tier_whose_choice_is_taken_away_is_found(bench: Bench) -> None:
    bare = with_then(bench.core, "support-by-retention", choose=("padding_layer",))
    assert bench.proved(CHECK, bare) == [("tier", "support")]
    assert bench.proved(CHECK, without_rule(bench.core, "toes-swollen")) == []
