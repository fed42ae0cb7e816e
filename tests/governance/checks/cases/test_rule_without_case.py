from limbtier.domain.rule import Conclusions
from limbtier.governance.checks.cases.rule_without_case import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import and_rule, is_


def test_a_rule_that_applies_in_no_case_is_found(bench: Bench) -> None:
    more = and_rule(bench.core, is_("leaking", "yes"), Conclusions(caution=("Made up.",)))
    assert bench.new(CHECK, more) == [("rule", "made-up")]


def test_without_cases_every_rule_is_found(bench: Bench) -> None:
    assert len(bench.new(CHECK, bench.core, cases=())) == len(bench.core.rules)
