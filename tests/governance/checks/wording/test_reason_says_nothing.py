import pytest

from limbtier.governance.checks.wording.reason_says_nothing import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import changed, rule_of, with_rule


@pytest.mark.parametrize(
    "because",
    [
        "As above.",
        "As discussed with the whole team in the meeting of March.",
        "See the guideline of the trust for the reasons.",
        "To follow.",
        "TBC",
        "Safety.",
        "It is safer.",
        "n/a",
    ],
)
def test_a_reason_that_gives_none_is_found(because: str, bench: Bench) -> None:
    assert bench.new(CHECK, with_rule(bench.core, "stent", because=because)) == [("rule", "stent")]


def test_a_reason_that_repeats_the_title_is_found(bench: Bench) -> None:
    title = rule_of(bench.core, "stent").title
    assert bench.new(CHECK, with_rule(bench.core, "stent", because=f"{title}.")) == [("rule", "stent")]


def test_a_short_sentence_with_a_reason_is_one(bench: Bench) -> None:
    reason = "Seeing the toes shows harm early."
    assert bench.new(CHECK, with_rule(bench.core, "stent", because=reason)) == []


def test_the_reason_of_a_local_change_is_read_too(bench: Bench) -> None:
    assert bench.new(CHECK, changed(bench.core, "setting", "replaced", "review_always", reason="Audit.")) == [
        ("setting", "review_always")
    ]
    told = "Our audit of last year found slow healing after four weeks."
    assert bench.new(CHECK, changed(bench.core, "setting", "replaced", "review_always", reason=told)) == []
