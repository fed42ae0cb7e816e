from limbtier.domain.condition import AllOf
from limbtier.governance.checks.reach.fact_always_the_same import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import any_of, is_, with_rule


def test_a_fact_that_whoever_answers_makes_yes_is_found(bench: Bench) -> None:
    always = AllOf((any_of(is_("diabetes", "yes"), is_("diabetes", "no")),))
    assert bench.proved(CHECK, with_rule(bench.core, "calcification-risk", when=always)) == [
        ("fact", "calcification_risk")
    ]
