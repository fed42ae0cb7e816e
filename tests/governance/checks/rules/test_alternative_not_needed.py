import pytest

from limbtier.domain.condition import Condition
from limbtier.domain.rule import Conclusions
from limbtier.governance.checks.rules.alternative_not_needed import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import all_of, and_rule, any_of, edges, is_, none_of

NOTE = Conclusions(caution=("Made up.",))


@pytest.mark.parametrize(
    "when",
    [
        any_of(edges("ankle_pressure", below="60"), edges("ankle_pressure", below="50")),
        any_of(edges("abpi", at_most="0.5"), edges("abpi", below="0.5")),
        any_of(is_("wound", "leg_ulcer"), is_("wound", "erosions", "leg_ulcer")),
        any_of(is_("wound", "leg_ulcer"), all_of(is_("wound", "leg_ulcer"), is_("diabetes", "yes"))),
        any_of(is_("leaking", "yes"), is_("leaking", "yes")),
        all_of(
            is_("wound", "leg_ulcer"), any_of(is_("wound", "leg_ulcer", "erosions"), is_("leaking", "yes"))
        ),
        all_of(is_("leaking", "yes"), none_of(is_("wound", "none"), is_("wound", "none", "erosions"))),
    ],
    ids=str,
)
def test_what_another_covers_is_found_once(when: Condition, bench: Bench) -> None:
    assert bench.new(CHECK, and_rule(bench.core, when, NOTE)) == [("rule", "made-up")]


@pytest.mark.parametrize(
    "when",
    [
        any_of(edges("ankle_pressure", below="60"), edges("toe_pressure_mmhg", below="50")),
        any_of(edges("abpi", below="0.5"), edges("abpi", above="1.3")),
        any_of(edges("abpi", at_least="0.6"), edges("abpi", below="0.8")),
        any_of(
            is_("pain_type", "mixed"),
            all_of(is_("wet_eczema", "yes"), is_("pain_type", "nociceptive", "mixed")),
        ),
        any_of(edges("arterial_test_age_days", above="84"), is_("arterial_test_on", "not_done")),
        all_of(
            is_("wound", "leg_ulcer", "erosions"), any_of(is_("wound", "leg_ulcer"), is_("leaking", "yes"))
        ),
    ],
    ids=str,
)
def test_what_adds_something_is_not_found(when: Condition, bench: Bench) -> None:
    assert bench.new(CHECK, and_rule(bench.core, when, NOTE)) == []
