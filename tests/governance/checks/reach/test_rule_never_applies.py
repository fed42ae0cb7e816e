from limbtier.domain.rule import Conclusions, Limit
from limbtier.governance.checks.reach.rule_never_applies import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import all_of, and_rule, edges, is_


def test_tests_that_exclude_one_another_only_through_a_measure_are_found(bench: Bench) -> None:
    with_a_pressure_there_is_a_result = all_of(
        edges("ankle_pressure", below="50"),
        edges("arm_pressure", at_least="100"),
        is_("arterial_result", "none"),
    )
    edition = and_rule(bench.core, with_a_pressure_there_is_a_result, Conclusions(limit=Limit("withhold")))
    assert bench.proved(CHECK, edition) == [("rule", "made-up")]


def test_the_same_with_a_result_can_apply(bench: Bench) -> None:
    possible = all_of(
        edges("ankle_pressure", below="50"),
        edges("arm_pressure", at_least="100"),
        is_("arterial_result", "ratio"),
    )
    assert bench.proved(CHECK, and_rule(bench.core, possible, Conclusions(limit=Limit("withhold")))) == []
