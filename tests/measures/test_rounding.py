"""Numbers as shown, against the decimal module of the standard library and against rows of a survey."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.measures.rounding import show


@given(st.decimals(-1000, 1000, places=4, allow_nan=False), st.integers(0, 4))
def test_rounding_is_that_of_decimal_half_up(value: Decimal, places: int) -> None:
    expected = value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    shown = show(Fraction(value), places)
    assert Decimal(shown) == expected
    assert len(shown.partition(".")[2]) == places


@given(st.fractions(-1000, 1000), st.integers(0, 6))
def test_what_is_shown_is_at_most_half_a_unit_away(value: Fraction, places: int) -> None:
    assert abs(Fraction(show(value, places)) - value) <= Fraction(1, 2 * 10**places)


@pytest.mark.parametrize(
    ("value", "places", "shown"),
    [
        # Exact ties of the survey NHANES 2001-2002 (LEXAB_B), shown there as here; `round` misses the second.
        (Fraction(147, 120), 2, "1.23"),
        (Fraction(144, 128), 2, "1.13"),
        # Own examples.
        (Fraction(4, 5), 2, "0.80"),
        (Fraction(-1, 1000), 2, "0.00"),
        (Fraction(-5, 1000), 2, "-0.01"),
        (Fraction(5, 2), 0, "3"),
        (Fraction(-5, 2), 0, "-3"),
        (Fraction(0), 0, "0"),
    ],
)
def test_ties_signs_and_zeros(value: Fraction, places: int, shown: str) -> None:
    assert show(value, places) == shown


def test_fewer_than_no_decimals_are_refused() -> None:
    with pytest.raises(ValueError, match="-1 decimals"):
        show(Fraction(1), -1)
