"""A condition in the words of a rule file, on one line, for messages."""

from __future__ import annotations

from fractions import Fraction

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest


def condition_words(condition: Condition) -> str:
    """The condition as it would be written in a list of alternatives, in backticks."""
    return f"`{_mapping(condition)}`"


def _mapping(condition: Condition) -> str:
    parts = condition.parts if isinstance(condition, AllOf) else (condition,)
    return "{" + ", ".join(_entry(part) for part in parts) + "}"


def _entry(condition: Condition) -> str:
    match condition:
        case ValueTest(name, values):
            written = values[0] if len(values) == 1 else f"[{', '.join(values)}]"
            return f"{name}: {written}"
        case EdgeTest(name, at_least, above, at_most, below):
            edges = {"at_least": at_least, "above": above, "at_most": at_most, "below": below}
            written = ", ".join(
                f"{key}: {number_words(edge)}" for key, edge in edges.items() if edge is not None
            )
            return f"{name}: {{{written}}}"
        case AnyOf(parts):
            return f"any_of: [{', '.join(_mapping(part) for part in parts)}]"
        case NoneOf(parts):
            return f"none_of: [{', '.join(_mapping(part) for part in parts)}]"
        case AllOf(parts):
            return ", ".join(_entry(part) for part in parts)


def number_words(number: Fraction) -> str:
    """A number of a rule file as it is written there: a decimal number, exact where it has an end."""
    if number.denominator == 1:
        return str(number.numerator)
    places = next((digits for digits in range(1, 18) if (number * 10**digits).denominator == 1), 6)
    return f"{float(number):.{places}f}"
