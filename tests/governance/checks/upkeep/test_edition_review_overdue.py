from dataclasses import replace
from datetime import timedelta

from limbtier.governance.checks.upkeep.edition_review_overdue import CHECK
from tests.governance.checks.conftest import Bench


def test_an_edition_is_overdue_the_day_after_its_review(bench: Bench) -> None:
    last = bench.core.review_by
    assert bench.new(CHECK, bench.core, day=last) == []
    assert bench.new(CHECK, bench.core, day=last + timedelta(days=1)) == [("edition", bench.core.id)]


def test_a_retired_edition_is_not_reviewed_any_more(bench: Bench) -> None:
    retired = replace(bench.core, status="retired")
    assert bench.new(CHECK, retired, day=bench.core.review_by + timedelta(days=400)) == []
