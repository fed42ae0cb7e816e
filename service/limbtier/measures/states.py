"""Answers as the measures hold them, and how their states pass into what is computed from them."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from functools import lru_cache

from limbtier.foundation.answer_states import NOT_ASKED, NOT_DONE

Answer = str | Fraction | date | tuple[Fraction, ...]


def state_of(*answers: Answer | None) -> str | None:
    """The state that ingredients which cannot be done without force on a measure, or None if none does.

    One not asked makes the measure not asked; otherwise one not done makes it not done, whatever the
    others are or will be.
    """
    if NOT_ASKED in answers:
        return NOT_ASKED
    return NOT_DONE if NOT_DONE in answers else None


def higher(first: Answer | None, second: Answer | None) -> Answer | None:
    """The higher of two pressures (mmHg); undetermined (None) until both are answered.

    One not done: the other. Both not done: not done.
    """
    if first is None or second is None:
        return None
    if isinstance(first, str):
        return first if first == NOT_ASKED else second
    if isinstance(second, str):
        return second if second == NOT_ASKED else first
    if not (type(first) is Fraction and type(second) is Fraction):
        return None
    # Integers, not fractions, here and below: this is the path of every live decision.
    (top, bottom), (other_top, other_bottom) = first.as_integer_ratio(), second.as_integer_ratio()
    return first if top * other_bottom >= other_top * bottom else second


def product(first: Fraction, second: Fraction) -> Fraction:
    """`first * second`, several times faster."""
    (top, bottom), (other_top, other_bottom) = first.as_integer_ratio(), second.as_integer_ratio()
    return Fraction(top * other_top, bottom * other_bottom)


def quotient(first: Fraction, second: Fraction) -> Fraction:
    """`first / second`, several times faster. Raises ZeroDivisionError."""
    (top, bottom), (other_top, other_bottom) = first.as_integer_ratio(), second.as_integer_ratio()
    return Fraction(top * other_bottom, bottom * other_top)


def difference(first: Fraction, second: Fraction) -> Fraction:
    """How far apart two numbers are, never negative."""
    (top, bottom), (other_top, other_bottom) = first.as_integer_ratio(), second.as_integer_ratio()
    if bottom == other_bottom == 1:
        return whole(abs(top - other_top))
    return Fraction(abs(top * other_bottom - other_top * bottom), bottom * other_bottom)


def days_between(start: Answer | None, end: date) -> Answer | None:
    """Whole days from a recorded day to `end`, negative if it lies ahead; a state passes through."""
    if start is None or isinstance(start, str):
        return start
    return whole((end - start).days) if isinstance(start, date) else None


@lru_cache(maxsize=4096)
def whole(number: int) -> Fraction:
    """A whole number as an exact fraction; kept, because days are few and fractions are slow to make."""
    return Fraction(number)
