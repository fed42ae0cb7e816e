"""Estimated pressure under a bandage: the modified law of Laplace, P = K N T / (C W).

P in mmHg, N layers at that point, T the tension in kgf over the full width, C the girth in cm, W the width of
the bandage in cm. Form and proportionality: Thomas, World Wide Wounds 2003. K comes from units alone:
2 pi g 10^4 Pa, in conventional millimetres of mercury.

**An explanation, never a dose, and never used to choose or unlock a tier.** Predicted is not delivered:
sensors read 42.1 % below the law above the malleolus in 47 volunteers (J Wound Care 2021;30:276); doubling a
tubular bandage raised the ankle pressure by 29 %, where the law says 100 % (Ann Vasc Dis 2020;13:410); and
pressure had fallen by 23.5 % within four hours (J Wound Manag 2023;24(3):87).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from limbtier.measures.limb_volume import PI

STANDARD_GRAVITY: Final = Fraction(980665, 100000)
"""m/s2, the conventional value (3rd General Conference on Weights and Measures, 1901)."""

MILLIMETRE_OF_MERCURY: Final = Fraction(135951, 10) * STANDARD_GRAVITY / 1000
"""Pa: one millimetre of mercury of the conventional density, 13 595.1 kg/m3 (133.322 387 415 Pa)."""

K: Final = 2 * PI * STANDARD_GRAVITY * 10**4 / MILLIMETRE_OF_MERCURY
"""mmHg cm2 / kgf, about 4621.7: newton from kgf, and metre from cm twice (girth and width)."""


@dataclass(frozen=True, slots=True)
class PressureEstimate:
    """Estimates in mmHg at the ankle and the calf, at constant tension.

    `ankle_lost_to_bulk` and `calf_lost_to_bulk` are what padding and dressing take away by widening the leg;
    `calf_below_ankle` is what the wider limb takes away at the calf (negative where the calf is narrower).
    """

    ankle: Fraction
    calf: Fraction
    ankle_lost_to_bulk: Fraction
    calf_lost_to_bulk: Fraction

    @property
    def calf_below_ankle(self) -> Fraction:
        """By how much the calf gets less than the ankle."""
        return self.ankle - self.calf


def interface_pressure_mmhg(
    *,
    layers: Fraction,
    tension_kgf: Fraction,
    girth_cm: Fraction,
    width_cm: Fraction,
    bulk_mm: Fraction = Fraction(0),
) -> Fraction:
    """Estimated pressure (mmHg) of `layers` (above 0; half overlap is about 2) at `tension_kgf` (0 or more).

    `bulk_mm`, the thickness of padding and dressing under the bandage (0 or more), adds 2 pi times itself to
    the girth (from memory, geometry). The layers' own thickness is ignored; with four components at 25 cm
    that overestimates by 19.2 % or more (Al Khaburi and others, impact of multilayered compression
    bandages). Raises ValueError when a value is out of range.
    """
    if layers <= 0 or width_cm <= 0 or girth_cm <= 0 or tension_kgf < 0 or bulk_mm < 0:
        raise ValueError("layers, girth and width must be above zero, tension and bulk not below")
    return K * layers * tension_kgf / (girth_over_bulk_cm(girth_cm, bulk_mm) * width_cm)


def girth_over_bulk_cm(girth_cm: Fraction, bulk_mm: Fraction) -> Fraction:
    """Girth (cm) outside an even layer `bulk_mm` thick around the leg."""
    return girth_cm + 2 * PI * bulk_mm / 10


def estimate(
    *,
    layers: Fraction,
    tension_kgf: Fraction,
    ankle_girth_cm: Fraction,
    calf_girth_cm: Fraction,
    width_cm: Fraction,
    bulk_mm: Fraction = Fraction(0),
) -> PressureEstimate:
    """Both estimates with what bulk takes away. Raises ValueError when a value is out of range."""

    def at(girth_cm: Fraction, thickness_mm: Fraction) -> Fraction:
        return interface_pressure_mmhg(
            layers=layers,
            tension_kgf=tension_kgf,
            girth_cm=girth_cm,
            width_cm=width_cm,
            bulk_mm=thickness_mm,
        )

    ankle, calf = at(ankle_girth_cm, bulk_mm), at(calf_girth_cm, bulk_mm)
    none = Fraction(0)
    return PressureEstimate(ankle, calf, at(ankle_girth_cm, none) - ankle, at(calf_girth_cm, none) - calf)
