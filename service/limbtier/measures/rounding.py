"""Numbers as they are shown: decimal, rounded half up, exact. Decisions are taken on the unrounded number."""

from __future__ import annotations

from fractions import Fraction


def show(value: Fraction, places: int) -> str:
    """`value` in decimal with exactly `places` decimals; a tie goes away from zero (1.225 -> 1.23).

    Rounded from the exact fraction, never through a binary number: `round()` shows 1.225 as 1.23 but 1.125
    as 1.12. A value that rounds to zero has no sign. Raises ValueError when `places` is negative.
    """
    if places < 0:
        raise ValueError(f"{places} decimals cannot be shown")
    top, bottom = value.as_integer_ratio()
    units = (2 * abs(top) * 10**places + bottom) // (2 * bottom)
    sign = "-" if top < 0 and units else ""
    if places == 0:
        return f"{sign}{units}"
    whole, decimals = divmod(units, 10**places)
    return f"{sign}{whole}.{decimals:0{places}}"
