"""The pressure estimate against pint and scipy, which know the units.

No published worked example with numbers was found: what is checked is units, arithmetic and proportions.
"""

from __future__ import annotations

import math
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from limbtier.measures.interface_pressure import (
    MILLIMETRE_OF_MERCURY,
    STANDARD_GRAVITY,
    K,
    estimate,
    girth_over_bulk_cm,
    interface_pressure_mmhg,
)


def pressure(layers: str, tension: str, girth: str, width: str, bulk: str = "0") -> Fraction:
    return interface_pressure_mmhg(
        layers=Fraction(layers),
        tension_kgf=Fraction(tension),
        girth_cm=Fraction(girth),
        width_cm=Fraction(width),
        bulk_mm=Fraction(bulk),
    )


def test_the_constant_is_what_pint_makes_of_the_units() -> None:
    unit: pint.UnitRegistry[float] = pint.UnitRegistry()
    constant = (2 * math.pi * unit.kilogram_force / unit.centimeter**2).to("mmHg").magnitude
    assert float(K) == pytest.approx(constant, rel=1e-9)


def test_the_constant_agrees_with_scipy() -> None:
    # scipy takes the millimetre of mercury as the torr, 1.5 parts in ten million less.
    assert float(K) == pytest.approx(2 * math.pi * constants.kgf * 1e4 / constants.mmHg, rel=2e-7)


def test_the_units_behind_the_constant_are_the_conventional_ones() -> None:
    # 9.80665 m/s2 (scipy.constants.g, CODATA); 133.322 387 415 Pa (pint, conventional mercury).
    assert float(STANDARD_GRAVITY) == constants.g
    assert Fraction("133.322387415") == MILLIMETRE_OF_MERCURY


def test_the_constant_is_within_a_thousandth_of_the_one_in_use() -> None:
    # 4620 in Thomas, World Wide Wounds 2003: the digits are from memory.
    assert float(K) == pytest.approx(4620, rel=1e-3)


@pytest.mark.parametrize(
    ("layers", "tension", "girth", "width", "expected"),
    [
        # Own numbers, computed apart with pint from N (T / W) / R; not published examples.
        ("1", "1", "25", "10", 18.48),
        ("2", "1", "25", "10", 36.96),
        ("2", "1", "18", "10", 51.33),
        ("2", "1", "37", "10", 24.97),
        ("2", "0.5", "24", "10", 19.25),
        ("3", "0.6", "22", "10", 37.8),
        ("4", "0.35", "25", "10", 25.87),
    ],
)
def test_estimates_worked_apart(layers: str, tension: str, girth: str, width: str, expected: float) -> None:
    assert float(pressure(layers, tension, girth, width)) == pytest.approx(expected, abs=0.03)


def test_a_fabric_tension_of_three_newton_per_centimetre() -> None:
    # Test load of 3 N/cm: Textile Research Journal 2019, doi 10.1177/0040517519833969; 56.55 mmHg is our own
    # arithmetic in SI units: 300 N/m over a radius of 0.25 / (2 pi) m.
    tension = Fraction(30) / STANDARD_GRAVITY
    found = interface_pressure_mmhg(
        layers=Fraction(1), tension_kgf=tension, girth_cm=Fraction(25), width_cm=Fraction(10)
    )
    pascal = 300 / (0.25 / (2 * math.pi))
    assert float(found) == pytest.approx(pascal / 133.322387415, rel=1e-9)
    assert float(found) == pytest.approx(56.55, abs=0.005)


positive = st.fractions(Fraction(1, 10), 100)


@given(positive, positive, positive, positive)
def test_pressure_follows_layers_and_tension_and_falls_with_girth_and_width(
    layers: Fraction, tension: Fraction, girth: Fraction, width: Fraction
) -> None:
    def at(factor: int, divisor: int) -> Fraction:
        return interface_pressure_mmhg(
            layers=layers * factor, tension_kgf=tension, girth_cm=girth * divisor, width_cm=width
        )

    assert at(2, 1) == 2 * at(1, 1)
    assert at(1, 2) == at(1, 1) / 2
    assert at(1, 1) * width * girth == K * layers * tension


@given(positive, st.fractions(0, 50))
def test_bulk_widens_the_girth_by_its_thickness_on_every_side(girth: Fraction, bulk: Fraction) -> None:
    radius_cm = float(girth) / (2 * math.pi) + float(bulk) / 10
    assert float(girth_over_bulk_cm(girth, bulk)) == pytest.approx(2 * math.pi * radius_cm)


def test_the_estimate_says_what_bulk_and_limb_width_take_away() -> None:
    # Own example.
    found = estimate(
        layers=Fraction(2),
        tension_kgf=Fraction(1),
        ankle_girth_cm=Fraction(22),
        calf_girth_cm=Fraction(37),
        width_cm=Fraction(10),
        bulk_mm=Fraction(10),
    )
    assert found.ankle == pressure("2", "1", "22", "10", "10")
    assert found.ankle + found.ankle_lost_to_bulk == pressure("2", "1", "22", "10")
    assert found.calf + found.calf_lost_to_bulk == pressure("2", "1", "37", "10")
    assert found.ankle_lost_to_bulk > found.calf_lost_to_bulk > 0
    assert found.calf_below_ankle == found.ankle - found.calf


@pytest.mark.parametrize(
    ("layers", "tension", "girth", "width", "bulk"),
    [
        ("0", "1", "25", "10", "0"),
        ("1", "-1", "25", "10", "0"),
        ("1", "1", "0", "10", "0"),
        ("1", "1", "25", "0", "0"),
        ("1", "1", "25", "10", "-1"),
    ],
)
def test_values_out_of_range_are_refused(
    layers: str, tension: str, girth: str, width: str, bulk: str
) -> None:
    with pytest.raises(ValueError, match="above zero"):
        pressure(layers, tension, girth, width, bulk)
