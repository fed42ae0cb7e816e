"""Answers and tests as exact text, for records and pages."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

from limbtier.domain.assessment import Answer
from limbtier.domain.condition import Test, ValueTest
from limbtier.measures.rounding import show

NOT_RECORDED = "not_recorded"


def exact_text(answer: Answer | None) -> str:
    """An answer as text: a number as the decimal it is, or to four places with its exact fraction."""
    match answer:
        case None:
            return NOT_RECORDED
        case str():
            return answer
        case Fraction():
            top, bottom = answer.as_integer_ratio()
            if bottom == 1:
                return str(top)
            if 10_000 % bottom == 0:
                return show(answer, 4).rstrip("0")
            return f"{show(answer, 4)} ({exact_fraction(answer)})"
        case date():
            return answer.isoformat()
        case _:
            return ", ".join(exact_text(number) for number in answer)


def exact_fraction(number: Fraction) -> str:
    """A number as a whole number or a fraction in lowest terms; what `str` gives, in a third of the time."""
    top, bottom = number.as_integer_ratio()
    return f"{top}" if bottom == 1 else f"{top}/{bottom}"


def required_text(test: Test) -> str:
    """What a test requires, in words."""
    if isinstance(test, ValueTest):
        return " or ".join(test.values)
    edges = (
        ("at least", test.at_least),
        ("above", test.above),
        ("at most", test.at_most),
        ("below", test.below),
    )
    return " and ".join(f"{word} {exact_text(edge)}" for word, edge in edges if edge is not None)
