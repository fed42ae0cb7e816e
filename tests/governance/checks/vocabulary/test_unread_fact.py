from limbtier.domain.condition import AllOf
from limbtier.governance.checks.vocabulary.unread_fact import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import is_, with_rule


def test_a_fact_that_no_rule_tests_any_more_is_found(bench: Bench) -> None:
    forgetful = with_rule(bench.core, "elevation", when=AllOf((is_("oedema", "to_knee"),)))
    assert bench.new(CHECK, forgetful) == [("fact", "elevation_held")]


def test_a_fact_that_only_a_guard_rail_reads_is_read(bench: Bench) -> None:
    assert not any("danger_sign" in str(rule.when) for rule in bench.core.rules)
    assert bench.new(CHECK, bench.core) == []
