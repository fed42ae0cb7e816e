from limbtier.domain.rule import Conclusions
from limbtier.governance.checks.cases.value_without_case import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import and_rule, is_


def test_a_tested_value_that_no_case_has_is_found_once_at_its_first_rule(bench: Bench) -> None:
    without = tuple(
        one for one in bench.context.cases if one.facts.get("inflammatory_cause") != "sickle_cell"
    )
    assert len(without) < len(bench.context.cases)
    said = bench.said(CHECK, bench.core, cases=without)
    assert [message.split("`")[1] for _, _, message in said].count("inflammatory_cause: sickle_cell") == 1


def test_a_value_that_no_rule_tests_needs_no_case(bench: Bench) -> None:
    assert bench.new(CHECK, bench.core) == []
    more = and_rule(bench.core, is_("mobility", "walks_with_aid"), Conclusions(caution=("Made up.",)))
    answered = any(one.facts.get("mobility") == "walks_with_aid" for one in bench.context.cases)
    assert bench.new(CHECK, more) == ([] if answered else [("rule", "made-up")])
