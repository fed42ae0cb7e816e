import pytest

from limbtier.domain.condition import Condition
from limbtier.domain.rule import Conclusions
from limbtier.governance.checks.rules.contradictory_tests import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import all_of, and_rule, any_of, edges, is_

NOTE = Conclusions(caution=("Made up.",))


@pytest.mark.parametrize(
    "when",
    [
        all_of(is_("wound", "none"), any_of(is_("wound", "leg_ulcer"), is_("leaking", "yes"))),
        all_of(is_("wound", "none"), any_of(is_("exudate", "high"), is_("leaking", "yes"))),
        all_of(is_("wound", "none"), is_("exudate", "high")),
        all_of(is_("oedema", "none"), edges("oedema_months", at_least="3")),
        all_of(edges("abpi", below="0.6"), any_of(edges("abpi", at_least="0.8"), is_("leaking", "yes"))),
        all_of(edges("abpi", below="0.6"), all_of(edges("abpi", at_least="0.6"))),
        all_of(edges("pain_score", at_least="7"), all_of(is_("pain_score", "not_done"))),
        all_of(is_("heart_failure_status", "none"), is_("nyha_class", "3")),
    ],
    ids=str,
)
def test_tests_that_exclude_one_another_are_found_once(when: Condition, bench: Bench) -> None:
    assert bench.new(CHECK, and_rule(bench.core, when, NOTE)) == [("rule", "made-up")]


@pytest.mark.parametrize(
    "when",
    [
        all_of(is_("wound", "none", "erosions"), any_of(is_("exudate", "high"), is_("leaking", "yes"))),
        any_of(is_("wound", "none"), is_("exudate", "none")),
        all_of(edges("abpi", at_most="0.6"), all_of(edges("abpi", at_least="0.6"))),
        all_of(is_("current_tier", "support", "mild"), is_("tolerance", "good")),
        any_of(edges("pain_score", at_least="7"), is_("pain_score", "not_done")),
    ],
    ids=str,
)
def test_tests_that_can_hold_together_are_not_found(when: Condition, bench: Bench) -> None:
    assert bench.new(CHECK, and_rule(bench.core, when, NOTE)) == []
