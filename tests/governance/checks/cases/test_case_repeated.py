from dataclasses import replace

from limbtier.governance.checks.cases.case_repeated import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import with_case


def test_a_case_with_the_same_answers_under_another_name_is_found(bench: Bench) -> None:
    copy = replace(bench.core.cases[0], id="copied", story="Something else.", expect={})
    assert bench.new(CHECK, with_case(bench.core, copy)) == [("case", "copied")]


def test_the_same_answers_on_another_day_are_another_case(bench: Bench) -> None:
    other = {**bench.core.cases[0].assessment, "assessed_at": "2026-03-03T09:30:00+00:00"}
    copy = replace(bench.core.cases[0], id="copied", assessment=other)
    assert bench.new(CHECK, with_case(bench.core, copy)) == []
