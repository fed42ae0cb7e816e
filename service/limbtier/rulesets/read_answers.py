"""Reads answers in worked cases, each as its input's kind says, into the plain data of a request."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from limbtier.domain.vocabulary import Input, Scope
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names, Testable
from limbtier.rulesets.nodes import ListNode, MappingNode, Node, ScalarNode, shown
from limbtier.rulesets.shapes import (
    LONGEST_NAME,
    Number,
    Schema,
    check_flag,
    choose,
    parse_date,
    scalar,
    wrong_shape,
)

LEAST_IN_SERIES: Final = 2
MOST_IN_SERIES: Final = 40


def answers_schema() -> Schema:
    """A mapping from inputs to answers; names and values are checked by the loader."""
    return {
        "type": "object",
        "additionalProperties": {
            "anyOf": [
                {"type": ["string", "number"]},
                {"type": "array", "items": {"type": ["string", "number"]}},
            ]
        },
    }


def read_answers(node: Node, scope: Scope, names: Names[Testable], found: Findings) -> dict[str, Any]:
    """Answers by name: flags True or False, numbers Decimal, dates and choices text, series lists of Decimal.
    An answer that was refused is None, so that its name still counts as answered."""
    if not isinstance(node, MappingNode):
        wrong_shape(node, f"`{scope}`", "a mapping from inputs to answers", found)
        return {}
    answers: dict[str, Any] = {}
    for key, value in node.entries:
        known = names.find(Placed(key.text[:LONGEST_NAME], key.place), found)
        if known is None:
            continue
        if not known.is_input:
            message = f"`{known.name}` is computed or classified, never answered."
            found.add("not-an-input", key.place, message, "Answer the inputs that it comes from.")
            continue
        if known.scope is not None and known.scope != scope:
            message = f"`{known.name}` is an input of the {known.scope}."
            found.add("misplaced-input", key.place, message, f"Give it under `{known.scope}`.")
        answers[known.name] = _answer(known.entry, value, found) if known.entry is not None else None
    return answers


def _answer(entry: Input, node: Node, found: Findings) -> Any:
    label = f"`{entry.name}`"
    if entry.may_be_not_done and isinstance(node, ScalarNode) and node.text == "not_done":
        return "not_done"
    match entry.kind:
        case "flag":
            read = scalar(node, label, "`yes` or `no`", found)
            return read.text == "yes" if read and check_flag(read, label, found) else None
        case "choice":
            read = scalar(node, label, "one of its choices", found)
            if read is not None and read.text not in entry.values():
                message = f"{label} has no value `{shown(read.text)}`."
                found.add("unknown-value", read.place, message, choose(read.text, entry.values()))
                return None
            return read.text if read else None
        case "date":
            read = scalar(node, label, "a date such as 2026-01-31", found)
            day = parse_date(read, label, found) if read else None
            return day.isoformat() if day else None
        case "whole_number" | "number":
            return _number(entry, node, label, found)
        case "number_series":
            if not isinstance(node, ListNode):
                wrong_shape(node, label, "a list of numbers", found)
                return None
            if not LEAST_IN_SERIES <= len(node.items) <= MOST_IN_SERIES:
                advice = f"Give {LEAST_IN_SERIES} to {MOST_IN_SERIES} numbers."
                found.add("series-length", node.place, f"The length of {label} is {len(node.items)}.", advice)
            return [_number(entry, item, f"A number of {label}", found) for item in node.items]


def _number(entry: Input, node: Node, label: str, found: Findings) -> Decimal | None:
    number = Number().read(node, label, found)
    if number is None or not isinstance(node, ScalarNode):
        return None
    value, lower, upper = number.value, entry.range.at_least, entry.range.at_most
    if (lower is not None and value < lower) or (upper is not None and value > upper):
        message = f"{label} is {node.text}, outside the range of the input."
        found.add("out-of-range", node.place, message, f"Give {_span(lower, upper)}.")
    elif (value * 10**entry.places).denominator != 1:
        message = f"{label} is {node.text}, with more decimals than the input takes."
        found.add("too-many-decimals", node.place, message, f"Most decimals: {entry.places}.")
    return Decimal(node.text)


def _span(lower: Fraction | None, upper: Fraction | None) -> str:
    parts = [f"at least {_plain(lower)}"] if lower is not None else []
    parts += [f"at most {_plain(upper)}"] if upper is not None else []
    return " and ".join(parts)


def _plain(value: Fraction) -> str:
    return (
        str(value.numerator) if value.denominator == 1 else str(Decimal(value.numerator) / value.denominator)
    )
