from limbtier.domain.rule import Conclusions, Limit
from limbtier.governance.checks.rules.same_condition import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import all_of, and_rule, any_of, arrange, edges, is_


def test_the_same_tests_in_another_order_and_both_a_limit_are_found(bench: Bench) -> None:
    same = all_of(is_("vascular_advice", "none"), edges("abpi", at_least="0.6", below="0.8"))
    twice = and_rule(bench.core, same, Conclusions(limit=Limit("moderate")))
    assert bench.new(CHECK, twice) == [("rule", "made-up")]


def test_the_same_alternatives_and_the_same_arrangement_are_found(bench: Bench) -> None:
    same = any_of(is_("arterial_result", "incompressible"), edges("abpi", above="1.3"))
    twice = and_rule(
        bench.core,
        all_of(same, is_("vascular_advice", "none")),
        Conclusions(arrange=(arrange("toe_pressure"),)),
    )
    assert bench.new(CHECK, twice) == [("rule", "made-up")]


def test_the_same_tests_and_different_sorts_of_conclusion_are_two_rules(bench: Bench) -> None:
    caution = and_rule(
        bench.core, edges("abpi", at_least="0.6", below="0.8"), Conclusions(caution=("Note.",))
    )
    assert bench.new(CHECK, caution) == []


def test_an_edge_on_the_other_side_is_another_condition(bench: Bench) -> None:
    other = and_rule(bench.core, edges("abpi", above="0.6", below="0.8"), Conclusions(limit=Limit("mild")))
    assert bench.new(CHECK, other) == []
