"""Truncated cones against scipy, and values worked apart.

No published worked example with girths and volume was found. The numbers below are our own, computed apart
with scipy.integrate.quad and with the mesh volume of trimesh.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from limbtier.measures.limb_volume import PI, limb_volume_ml, volume_change_percent

FOUR = Fraction(4)
SLIM = ("22", "23.5", "26", "29.5", "33", "36", "37.5")
OEDEMATOUS = ("26", "28", "31", "34", "37", "39.5", "40.5")


def volume(girths: Sequence[str]) -> Fraction:
    return limb_volume_ml([Fraction(girth) for girth in girths], FOUR)


@pytest.mark.parametrize(
    ("girths", "expected"),
    [(("25", "25"), 198.94), (("22", "26"), 183.77), (SLIM, 1725.64), (OEDEMATOUS, 2222.44)],
)
def test_volumes_worked_apart(girths: Sequence[str], expected: float) -> None:
    assert float(volume(girths)) == pytest.approx(expected, abs=0.005)


def test_change_worked_apart() -> None:
    # 28.79 %: the excess of the swollen leg over the slim one, the same arithmetic as a change.
    assert float(volume_change_percent(volume(SLIM), volume(OEDEMATOUS))) == pytest.approx(28.79, abs=0.005)


def test_a_cylinder_is_its_closed_form() -> None:
    assert volume(("25", "25")) == 625 / PI


@given(
    st.lists(st.fractions(15, 80, max_denominator=10), min_size=2, max_size=12), st.sampled_from([1, 4, 12])
)
def test_volume_is_the_integral_of_the_cross_section(girths: list[Fraction], interval: int) -> None:
    # Reference: scipy.integrate.quad over each cone, the girth widening evenly between two marks.
    def cone(below: float, above: float) -> float:
        found, _ = integrate.quad(
            lambda place: (below + (above - below) * place / interval) ** 2 / (4 * math.pi), 0, interval
        )
        return float(found)

    expected = sum(cone(float(below), float(above)) for below, above in pairwise(girths))
    assert float(limb_volume_ml(girths, Fraction(interval))) == pytest.approx(expected, rel=1e-9)


@given(st.lists(st.fractions(15, 80, max_denominator=10), min_size=3, max_size=12))
def test_volumes_of_two_stretches_add_up(girths: list[Fraction]) -> None:
    whole = limb_volume_ml(girths, FOUR)
    assert whole == limb_volume_ml(girths[:2], FOUR) + limb_volume_ml(girths[1:], FOUR)


girth_pairs = st.lists(st.tuples(st.integers(15, 80), st.integers(15, 80)), min_size=2, max_size=8)


@given(girth_pairs, st.sampled_from([Fraction(2), FOUR, Fraction(12)]))
def test_the_change_does_not_depend_on_the_interval(pairs: list[tuple[int, int]], interval: Fraction) -> None:
    start, now = ([Fraction(pair[side]) for pair in pairs] for side in (0, 1))
    change = volume_change_percent(limb_volume_ml(start, interval), limb_volume_ml(now, interval))
    assert change == volume_change_percent(limb_volume_ml(start, FOUR), limb_volume_ml(now, FOUR))


def test_a_smaller_limb_has_a_negative_change() -> None:
    assert volume_change_percent(Fraction(2000), Fraction(1800)) == -10


@pytest.mark.parametrize(("girths", "interval"), [((25,), 4), ((25, -1), 4), ((25, 26), 0)])
def test_girths_that_make_no_volume_are_refused(girths: tuple[int, ...], interval: int) -> None:
    with pytest.raises(ValueError, match="girth"):
        limb_volume_ml([Fraction(girth) for girth in girths], Fraction(interval))


def test_a_change_from_no_volume_is_refused() -> None:
    with pytest.raises(ValueError, match="no volume"):
        volume_change_percent(Fraction(0), Fraction(100))
