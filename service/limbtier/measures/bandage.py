"""How much bandage a leg takes: length as laid on, and rolls.

Geometry, no published source: a spiral with an even overlap covers the skin 1 / (1 - overlap) times, so
length times width is the skin covered times that. The slope of the turns is ignored (about 2 % at a girth of
25 cm with 5 cm between turns), and so are the foot, anchoring turns and figures of eight: it is the least
that the stretch of leg takes.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TypeVar

Number = TypeVar("Number", Fraction, float)


def skin_of_series_cm2(girths_cm: Sequence[Number], interval_cm: Number) -> Number:
    """Skin (cm2) between the first and the last of at least two girths (cm), `interval_cm` apart.

    Raises ValueError for fewer than two girths, or a girth or interval not above zero.
    """
    if len(girths_cm) < 2 or min(girths_cm) <= 0 or interval_cm <= 0:
        raise ValueError("skin needs two or more girths and an interval, all above zero")
    return interval_cm * (sum(girths_cm) - (girths_cm[0] + girths_cm[-1]) / 2)


def skin_of_leg_cm2(ankle_girth_cm: Fraction, calf_girth_cm: Fraction, length_cm: Fraction) -> Fraction:
    """Skin (cm2) of a lower leg `length_cm` long, widening evenly from ankle to calf girth (cm).

    For when no series was taken. Raises ValueError when a value is not above zero.
    """
    return skin_of_series_cm2((ankle_girth_cm, calf_girth_cm), length_cm)


def bandage_length_cm(skin_cm2: Fraction, width_cm: Fraction, overlap: Fraction) -> Fraction:
    """Length (cm, as laid on) of a bandage `width_cm` wide that covers the skin with an even overlap.

    `overlap` is the fraction of the width laid over the turn before, 0 or more and below 1; half is usual.
    Raises ValueError when a value is out of range.
    """
    if skin_cm2 <= 0 or width_cm <= 0 or not 0 <= overlap < 1:
        raise ValueError("skin and width must be above zero, and the overlap from 0 to below 1")
    return skin_cm2 / (width_cm * (1 - overlap))


def rolls(length_cm: Number, roll_length_cm: Number) -> int:
    """Whole rolls for a length (cm, above zero). `roll_length_cm` is the length of one roll as laid on.

    Raises ValueError when a length is not above zero.
    """
    if length_cm <= 0 or roll_length_cm <= 0:
        raise ValueError("both lengths must be above zero")
    return int(-(-length_cm // roll_length_cm))
