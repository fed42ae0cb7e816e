from limbtier.domain.interval import Interval
from limbtier.governance.checks.reach.review_never_first import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import with_then


def test_a_review_as_late_as_the_latest_is_found_and_an_earlier_one_is_not(bench: Bench) -> None:
    late = with_then(bench.core, "hf-suspected-agreed", review=Interval("days", 28))
    assert bench.proved(CHECK, late) == [("rule", "hf-suspected-agreed")]
    early = with_then(bench.core, "hf-suspected-agreed", review=Interval("days", 27))
    assert bench.proved(CHECK, early) == []
