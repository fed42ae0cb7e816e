"""The list of measures, what each reads, and the follow-up measures."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest

from limbtier.measures.registry import MEASURES, compute_measures
from limbtier.measures.states import Answer

FOUR_CM = {"girth_interval_cm": Fraction(4)}
TODAY = date(2026, 3, 2)
OEDEMATOUS = tuple(Fraction(girth) for girth in ("26", "28", "31", "34", "37", "39.5", "40.5"))
SLIM = tuple(Fraction(girth) for girth in ("22", "23.5", "26", "29.5", "33", "36", "37.5"))


def measures(**answers: Answer) -> dict[str, Answer]:
    return compute_measures(answers, TODAY, FOUR_CM)


def test_the_measures_by_name() -> None:
    # These are the names that rules, guard rails and the vocabulary use.
    assert [measure.name for measure in MEASURES] == [
        "ankle_pressure",
        "arm_pressure",
        "arm_difference_mmhg",
        "abpi",
        "arterial_result",
        "arterial_test_age_days",
        "toe_brachial_index",
        "wound_area_cm2",
        "area_reduction_percent",
        "limb_volume_ml",
        "start_limb_volume_ml",
        "limb_volume_change_percent",
        "days_at_current_tier",
        "days_since_start",
        "days_since_first_contact",
    ]


def test_a_measure_built_on_another_comes_after_it() -> None:
    names = [measure.name for measure in MEASURES]
    for place, measure in enumerate(MEASURES):
        assert not set(measure.ingredients) & set(names[place:]), measure.name


def test_only_a_choice_has_choices() -> None:
    assert {measure.name: measure.choices for measure in MEASURES if measure.choices} == {
        "arterial_result": ("ratio", "incompressible", "none")
    }
    assert [measure.name for measure in MEASURES if measure.kind == "choice"] == ["arterial_result"]


def test_nothing_answered_determines_nothing() -> None:
    assert measures() == {}


def test_wound_area_is_length_times_width() -> None:
    found = measures(wound_length_cm=Fraction("4.2"), wound_width_cm=Fraction("2.8"))
    assert found == {"wound_area_cm2": Fraction("11.76")}


def test_area_reduction_is_from_the_area_at_the_start() -> None:
    found = measures(
        wound_length_cm=Fraction(3),
        wound_width_cm=Fraction(2),
        start_wound_area_cm2=Fraction(8),
        current_tier="mild",
    )
    assert found["area_reduction_percent"] == 25


def test_a_wound_that_grew_has_a_negative_reduction() -> None:
    found = measures(
        wound_length_cm=Fraction(5), wound_width_cm=Fraction(2), start_wound_area_cm2=Fraction(8)
    )
    assert found["area_reduction_percent"] == -25


def test_no_wound_asks_for_no_area() -> None:
    found = measures(
        wound="none",
        wound_length_cm="not_asked",
        wound_width_cm="not_asked",
        start_wound_area_cm2="not_asked",
    )
    assert found == {"wound_area_cm2": "not_asked", "area_reduction_percent": "not_asked"}


def test_an_area_not_done_settles_the_reduction_once_the_start_is_known_to_be_asked_for() -> None:
    assert "area_reduction_percent" not in measures(wound="leg_ulcer", wound_length_cm="not_done")
    found = measures(wound="leg_ulcer", wound_length_cm="not_done", current_tier="mild")
    assert found["area_reduction_percent"] == "not_done"


def test_a_wound_that_began_after_compression_has_no_percentage() -> None:
    assert measures(start_wound_area_cm2=Fraction(0)) == {"area_reduction_percent": "not_done"}


def test_limb_volume_and_its_change() -> None:
    found = measures(girth_series_cm=SLIM, start_girth_series_cm=OEDEMATOUS)
    now, start = found["limb_volume_ml"], found["start_limb_volume_ml"]
    change = found["limb_volume_change_percent"]
    assert isinstance(now, Fraction)
    assert isinstance(start, Fraction)
    assert isinstance(change, Fraction)
    assert change == (now - start) / start * 100
    assert change < 0


def test_series_of_different_length_are_not_compared() -> None:
    found = measures(girth_series_cm=SLIM, start_girth_series_cm=OEDEMATOUS[:-1])
    assert found["limb_volume_change_percent"] == "not_done"
    assert isinstance(found["limb_volume_ml"], Fraction)


@pytest.mark.parametrize("start", ["not_done", (Fraction(0), Fraction(0)), (Fraction(20),)])
def test_a_start_without_volume_has_no_change(start: Answer) -> None:
    assert measures(start_girth_series_cm=start)["limb_volume_change_percent"] == "not_done"


def test_days_are_counted_from_each_date() -> None:
    found = measures(
        current_tier_since=date(2026, 2, 16),
        compression_started_on=date(2026, 2, 2),
        first_contact_on=date(2026, 2, 28),
    )
    assert found == {
        "days_at_current_tier": Fraction(14),
        "days_since_start": Fraction(28),
        "days_since_first_contact": Fraction(2),
    }


def test_a_date_ahead_is_a_negative_age() -> None:
    assert measures(first_contact_on=date(2026, 3, 3)) == {"days_since_first_contact": Fraction(-1)}


def test_what_cannot_be_measured_computes_to_nothing() -> None:
    below = Fraction(-1)
    found = measures(
        wound_length_cm=below,
        wound_width_cm=Fraction(2),
        girth_series_cm=(below, Fraction(20)),
        start_girth_series_cm=SLIM[:2],
    )
    assert set(found) == {"start_limb_volume_ml"}


def test_a_girth_series_needs_the_interval_of_the_edition() -> None:
    with pytest.raises(KeyError, match="girth_interval_cm"):
        compute_measures({"girth_series_cm": SLIM}, TODAY, {})
