"""Formulas of the solver, built with as little as possible: constants are folded before they reach it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any, TypeAlias

import z3

# A formula of the solver, or a plain bool where it is known already. The library has no type hints.
Formula: TypeAlias = Any
# A number of the solver.
Expression: TypeAlias = Any


def all_of(parts: Iterable[Formula]) -> Formula:
    """Every part holds; with no parts, it holds."""
    kept = []
    for part in parts:
        if part is False:
            return False
        if part is not True:
            kept.append(part)
    if not kept:
        return True
    return kept[0] if len(kept) == 1 else z3.And(kept)


def any_of(parts: Iterable[Formula]) -> Formula:
    """At least one part holds; with no parts, none does."""
    kept = []
    for part in parts:
        if part is True:
            return True
        if part is not False:
            kept.append(part)
    if not kept:
        return False
    return kept[0] if len(kept) == 1 else z3.Or(kept)


def negated(formula: Formula) -> Formula:
    """It does not hold."""
    return not formula if isinstance(formula, bool) else z3.Not(formula)


def implied(condition: Formula, formula: Formula) -> Formula:
    """Where the condition holds, the formula does."""
    return any_of((negated(condition), formula))


def same(first: Formula, second: Formula) -> Formula:
    """Both hold or neither does."""
    if isinstance(first, bool):
        return second if first else negated(second)
    if isinstance(second, bool):
        return first if second else negated(first)
    return first == second


def either(condition: Formula, first: Expression, second: Expression) -> Expression:
    """The first number where the condition holds, otherwise the second."""
    if isinstance(condition, bool):
        return first if condition else second
    return z3.If(condition, first, second)


def exactly_one(parts: Sequence[Formula]) -> list[Formula]:
    """One of the parts holds and no other."""
    pairs = [negated(all_of((one, other))) for place, one in enumerate(parts) for other in parts[place + 1 :]]
    return [any_of(parts), *pairs]


def exact(number: Fraction) -> Expression:
    """A fraction as the solver holds it, without rounding."""
    return z3.Q(number.numerator, number.denominator)
