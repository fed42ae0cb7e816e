"""Length and rolls of bandage, against a turn-by-turn integral by scipy. All examples are our own."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from limbtier.measures.bandage import bandage_length_cm, rolls, skin_of_leg_cm2, skin_of_series_cm2

HALF = Fraction(1, 2)


def test_a_cylinder_takes_one_girth_for_every_step_of_a_turn() -> None:
    # 30 cm long, 25 cm round, bandage 10 cm wide at half overlap: 6 turns of 25 cm.
    skin = skin_of_leg_cm2(Fraction(25), Fraction(25), Fraction(30))
    assert bandage_length_cm(skin, Fraction(10), HALF) == 150


@given(st.integers(18, 30), st.integers(0, 25), st.integers(20, 45), st.sampled_from([8, 10, 12]))
def test_the_length_of_the_sloping_turns_is_little_more(
    ankle: int, wider: int, length: int, width: int
) -> None:
    # Reference: scipy.integrate.quad along a spiral around a leg that widens evenly.
    step = width / 2

    def pace(place: float) -> float:
        girth = ankle + wider * place / length
        return math.hypot(girth, step) / step

    spiral, _ = integrate.quad(pace, 0, length)
    skin = skin_of_leg_cm2(Fraction(ankle), Fraction(ankle + wider), Fraction(length))
    flat = float(bandage_length_cm(skin, Fraction(width), HALF))
    assert flat <= spiral <= flat * 1.06


def test_a_series_counts_the_same_as_its_two_ends_when_the_leg_widens_evenly() -> None:
    girths = [Fraction(22 + step) for step in range(9)]
    series = skin_of_series_cm2(girths, Fraction(4))
    assert series == skin_of_leg_cm2(Fraction(22), Fraction(30), Fraction(32))


@given(st.lists(st.fractions(15, 60), min_size=2, max_size=12), st.fractions(1, 6))
def test_skin_is_that_of_the_straight_lines_between_the_girths(
    girths: list[Fraction], interval: Fraction
) -> None:
    # Reference: scipy.integrate.trapezoid.
    reference = integrate.trapezoid([float(girth) for girth in girths], dx=float(interval))
    assert float(skin_of_series_cm2(girths, interval)) == pytest.approx(reference)


def test_more_overlap_takes_more_bandage() -> None:
    skin = Fraction(750)
    lengths = [bandage_length_cm(skin, Fraction(10), Fraction(overlap, 4)) for overlap in range(4)]
    assert lengths == [75, 100, 150, 300]


@given(st.fractions(1, 5000), st.fractions(1, 1000))
def test_rolls_are_just_enough(length: Fraction, roll: Fraction) -> None:
    number = rolls(length, roll)
    assert (number - 1) * roll < length <= number * roll


@pytest.mark.parametrize(
    ("skin", "width", "overlap"), [(0, 10, HALF), (750, 0, HALF), (750, 10, 1), (750, 10, Fraction(-1, 4))]
)
def test_a_bandage_out_of_range_is_refused(skin: int, width: int, overlap: Fraction | int) -> None:
    with pytest.raises(ValueError, match="overlap"):
        bandage_length_cm(Fraction(skin), Fraction(width), Fraction(overlap))


def test_legs_and_rolls_out_of_range_are_refused() -> None:
    with pytest.raises(ValueError, match="two or more girths"):
        skin_of_series_cm2([Fraction(22)], Fraction(4))
    with pytest.raises(ValueError, match="above zero"):
        skin_of_leg_cm2(Fraction(0), Fraction(30), Fraction(30))
    with pytest.raises(ValueError, match="above zero"):
        rolls(Fraction(100), Fraction(0))
