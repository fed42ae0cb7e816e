from limbtier.domain.rule import Limit
from limbtier.governance.checks.vocabulary.unused_lift import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import with_then


def test_a_lift_that_its_only_limit_no_longer_names_is_found(bench: Bench) -> None:
    forgetful = with_then(bench.core, "hf-stable-nyha3", limit=Limit("support"))
    assert bench.new(CHECK, forgetful) == [("lift", "heart_team")]
