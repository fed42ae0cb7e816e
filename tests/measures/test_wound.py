"""Area of a wound and its reduction. The numbers are our own."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.measures.wound import area_cm2, area_reduction_percent

lengths = st.fractions(Fraction(1, 10), 40, max_denominator=10)


def test_area_and_reduction_of_one_wound() -> None:
    start = area_cm2(Fraction("4.2"), Fraction("2.8"))
    now = area_cm2(Fraction("3.1"), Fraction(2))
    assert (start, now) == (Fraction("11.76"), Fraction("6.2"))
    assert float(area_reduction_percent(start, now)) == pytest.approx(100 - 100 * 6.2 / 11.76)


@given(lengths, lengths, lengths, lengths, st.fractions(Fraction(1, 2), 1))
def test_the_reduction_is_the_same_by_any_method_that_is_kept(
    length: Fraction, width: Fraction, later_length: Fraction, later_width: Fraction, shape: Fraction
) -> None:
    # `shape` is the share of length times width that a method gives: pi / 4 for an ellipse.
    start, now = area_cm2(length, width), area_cm2(later_length, later_width)
    assert area_reduction_percent(shape * start, shape * now) == area_reduction_percent(start, now)


@given(lengths, lengths)
def test_the_reduction_runs_from_nothing_to_a_hundred(length: Fraction, width: Fraction) -> None:
    start = area_cm2(length, width)
    assert area_reduction_percent(start, start) == 0
    assert area_reduction_percent(start, Fraction(0)) == 100
    assert area_reduction_percent(start, 2 * start) == -100


def test_sizes_that_cannot_be_are_refused() -> None:
    for length, width in ((-1, 2), (2, -1), (-1, -2)):
        with pytest.raises(ValueError, match="cannot measure"):
            area_cm2(Fraction(length), Fraction(width))
    with pytest.raises(ValueError, match="no percentage"):
        area_reduction_percent(Fraction(0), Fraction(2))
    with pytest.raises(ValueError, match="no percentage"):
        area_reduction_percent(Fraction(2), Fraction(-2))
