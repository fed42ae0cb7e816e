import pytest

from limbtier.domain.condition import Condition
from limbtier.domain.rule import Conclusions
from limbtier.governance.checks.rules.always_or_never import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import all_of, and_rule, edges, is_

NOTE = Conclusions(caution=("Made up.",))


@pytest.mark.parametrize(
    "when",
    [
        edges("pain_score", at_least="70"),
        edges("age_years", at_least="0"),
        edges("age_years", above="125"),
        is_("diabetes", "yes", "no"),
        is_("oedema", "none", "below_knee", "to_knee", "above_knee"),
    ],
    ids=str,
)
def test_a_test_that_every_answer_or_none_meets_is_found(when: Condition, bench: Bench) -> None:
    assert bench.new(CHECK, and_rule(bench.core, all_of(when, is_("leaking", "yes")), NOTE)) == [
        ("rule", "made-up")
    ]


@pytest.mark.parametrize(
    "when",
    [
        edges("pain_score", at_least="10"),
        edges("age_years", at_least="1"),
        edges("toe_pressure_mmhg", at_least="0"),  # not on `not_done`
        is_("rapidly_worsening_wound", "yes", "no"),  # says that the question was asked
        is_("oedema", "below_knee", "to_knee", "above_knee"),
        is_("toe_pressure_mmhg", "not_done"),
    ],
    ids=str,
)
def test_a_test_that_some_answers_meet_is_not_found(when: Condition, bench: Bench) -> None:
    assert bench.new(CHECK, and_rule(bench.core, all_of(when, is_("leaking", "yes")), NOTE)) == []
