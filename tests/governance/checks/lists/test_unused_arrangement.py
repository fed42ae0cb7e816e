from limbtier.governance.checks.lists.unused_arrangement import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import arrange, with_then


def test_an_arrangement_is_found_when_its_rule_names_another(bench: Bench) -> None:
    mistaken = with_then(bench.core, "acute-stroke", arrange=(arrange("heart_review_today"),))
    assert bench.new(CHECK, mistaken) == [("arrangement", "stroke_team_advice")]
