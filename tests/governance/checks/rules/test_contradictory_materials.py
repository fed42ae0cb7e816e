from limbtier.domain.rule import Conclusions
from limbtier.governance.checks.rules.contradictory_materials import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import all_of, and_rule, edges, is_


def test_a_choice_where_another_rule_always_avoids_is_found(bench: Bench) -> None:
    narrower = all_of(is_("leaking", "yes"), is_("toes_swollen", "yes"))
    both = and_rule(bench.core, narrower, Conclusions(choose=("hosiery_kit", "toe_bandage")))
    [(part, name, message)] = bench.said(CHECK, both)
    assert (part, name) == ("rule", "made-up")
    assert "`hosiery_kit`" in message
    assert "toe_bandage" not in message


def test_a_narrower_band_of_the_ratio_is_found(bench: Bench) -> None:
    both = and_rule(
        bench.core, edges("abpi", at_least="0.7", below="0.75"), Conclusions(choose=("hosiery_kit",))
    )
    assert bench.new(CHECK, both) == [("rule", "made-up")]


def test_a_choice_that_is_sometimes_avoided_is_the_ordinary_course(bench: Bench) -> None:
    wider = and_rule(bench.core, edges("abpi", at_least="0.6"), Conclusions(choose=("hosiery_kit",)))
    assert bench.new(CHECK, wider) == []
