from limbtier.domain.rule import Conclusions, Limit
from limbtier.governance.checks.vocabulary.danger_sign_without_rule import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import and_rule, is_, with_input, with_then


def test_a_danger_sign_is_found_until_a_rule_takes_it_for_one(bench: Bench) -> None:
    marked = with_input(bench.core, "compartment_syndrome_signs", like="suspected_dvt")
    assert bench.new(CHECK, marked) == [("input", "compartment_syndrome_signs")]
    sign = is_("compartment_syndrome_signs", "yes")
    stopped = and_rule(marked, sign, Conclusions(limit=Limit("withhold")))
    assert bench.new(CHECK, stopped) == [("input", "compartment_syndrome_signs")]
    known = and_rule(marked, sign, Conclusions(limit=Limit("withhold"), classify=("danger_sign",)))
    assert bench.new(CHECK, known) == []


def test_a_rule_that_no_longer_classifies_its_danger_sign_is_found(bench: Bench) -> None:
    assert bench.new(CHECK, with_then(bench.core, "sepsis", classify=())) == [("input", "signs_of_sepsis")]
