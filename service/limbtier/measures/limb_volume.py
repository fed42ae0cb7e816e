"""Volume of a limb from girths at equal steps, as truncated cones, and its change.

V = sum of h (C1^2 + C1 C2 + C2^2) / (12 pi) over neighbouring girths, in cm: the volume in ml. Second-hand
source for the formula: medicalalgorithms.com (truncated cones); four centimetres is one usual step. The
foot is not part of it. Tape volumes are accurate to 2-8 %, so a change below about 8 % must not be called
real from tape alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Final

_PI_TOP, _PI_BOTTOM = math.pi.as_integer_ratio()
PI: Final = Fraction(_PI_TOP, _PI_BOTTOM)
"""Pi as the nearest double, held as an exact fraction: four parts in 10**17 low."""


def limb_volume_ml(girths_cm: Sequence[Fraction], interval_cm: Fraction) -> Fraction:
    """Volume (ml) between the first and the last of at least two girths (cm), `interval_cm` apart.

    Raises ValueError for fewer than two girths, a negative girth, or an interval not above zero.
    """
    ratios = [girth.as_integer_ratio() for girth in girths_cm]
    step, step_bottom = interval_cm.as_integer_ratio()
    if len(ratios) < 2 or step <= 0:
        raise ValueError("a volume needs two or more girths, and an interval above zero")
    # Summed as integers over one scale: many times faster than as fractions.
    scale = math.lcm(*[bottom for _, bottom in ratios])
    girths = [top * (scale // bottom) for top, bottom in ratios]
    if min(girths) < 0:
        raise ValueError("a girth cannot be negative")
    total = 0
    for below, above in pairwise(girths):
        total += below * (below + above) + above * above
    return Fraction(total * step * _PI_BOTTOM, 12 * scale * scale * step_bottom * _PI_TOP)


def volume_change_percent(start_ml: Fraction, now_ml: Fraction) -> Fraction:
    """(now - start) / start * 100: negative = smaller. Both volumes must be of the same stretch of the limb.

    Exact for two series with one interval, because interval and pi cancel. Raises ValueError when the start
    is not above zero.
    """
    (start, start_bottom), (now, now_bottom) = start_ml.as_integer_ratio(), now_ml.as_integer_ratio()
    if start <= 0:
        raise ValueError("a limb of no volume cannot be compared with")
    return Fraction(100 * (now * start_bottom - start * now_bottom), start * now_bottom)
