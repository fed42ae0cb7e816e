from limbtier.domain.rule import Conclusions, Limit
from limbtier.governance.checks.vocabulary.unmeasured_not_treated import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import and_rule, edges, is_, without_rule


def test_a_limit_on_a_number_that_may_be_not_done_is_found_until_a_rule_treats_that(bench: Bench) -> None:
    limited = and_rule(bench.core, edges("calf_girth_cm", above="60"), Conclusions(limit=Limit("mild")))
    assert bench.new(CHECK, limited) == [("input", "calf_girth_cm")]
    caution = Conclusions(caution=("The calf was not measured.",))
    treated = and_rule(limited, is_("calf_girth_cm", "not_done"), caution, rule_id="made-up-too")
    assert bench.new(CHECK, treated) == []


def test_an_edge_that_holds_no_tier_down_needs_no_such_rule(bench: Bench) -> None:
    only_arranged = and_rule(bench.core, edges("calf_girth_cm", above="60"), Conclusions(caution=("Wide.",)))
    assert bench.new(CHECK, only_arranged) == []


def test_the_rule_about_a_toe_pressure_that_was_not_done_is_what_treats_it(bench: Bench) -> None:
    assert bench.new(CHECK, without_rule(bench.core, "normal-ratio-no-toe")) == [
        ("input", "toe_pressure_mmhg")
    ]
