from limbtier.governance.checks.lists.waits_for_nothing import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import DAYS_7, arrange, with_then


def test_an_order_before_something_that_no_rule_arranges_is_found(bench: Bench) -> None:
    gone = with_then(
        bench.core, "acute-stroke", arrange=(arrange("stroke_team_advice", DAYS_7, "named_lead_told"),)
    )
    assert bench.new(CHECK, gone) == []
    gone = with_then(gone, "not-measured-overdue", arrange=(arrange("full_assessment"),))
    assert bench.new(CHECK, gone) == [("rule", "acute-stroke")]
