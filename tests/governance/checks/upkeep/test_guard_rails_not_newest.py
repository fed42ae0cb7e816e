from dataclasses import replace

from limbtier.governance.checks.upkeep.guard_rails_not_newest import CHECK
from tests.governance.checks.conftest import Bench


def test_a_draft_under_earlier_guard_rails_is_found_and_versions_are_no_decimals(bench: Bench) -> None:
    draft = replace(bench.core, status="draft", guard_rails="1.9.0")
    assert bench.new(CHECK, draft, guard_rail_versions=("1.9.0", "1.10.0")) == [("edition", bench.core.id)]
    assert bench.new(CHECK, draft, guard_rail_versions=("1.9.0", "1.8.0")) == []


def test_a_released_edition_keeps_the_guard_rails_it_was_judged_by(bench: Bench) -> None:
    assert bench.new(CHECK, bench.core, guard_rail_versions=("1.0.0", "2.0.0")) == []
