from limbtier.governance.checks.reach.technique_never_shown import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import with_then


def test_technique_for_a_tier_that_the_rule_itself_keeps_the_leg_from_is_found(bench: Bench) -> None:
    hidden = with_then(bench.core, "hf-stable-mild", instruct_at=("strong",))
    assert bench.proved(CHECK, hidden) == [("rule", "hf-stable-mild")]
    shown = with_then(bench.core, "hf-stable-mild", instruct_at=("mild",))
    assert bench.proved(CHECK, shown) == []
