"""Reads conditions: mappings of tests, with `any_of` and `none_of`."""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.foundation.diagnostics import did_you_mean
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names, Testable, distinct
from limbtier.rulesets.nodes import BrokenNode, ListNode, MappingNode, Node, ScalarNode, shown
from limbtier.rulesets.records import Fields, Key, Record
from limbtier.rulesets.shapes import (
    NameUsed,
    Number,
    Schema,
    check_flag,
    choose,
    parse_number,
    scalar,
    wrong_shape,
)

GROUPS: Final = ("any_of", "none_of")
AT_LEAST: Final = Key("at_least", Number(), "this number or more")
ABOVE: Final = Key("above", Number(), "more than this number")
AT_MOST: Final = Key("at_most", Number(), "this number or less")
BELOW: Final = Key("below", Number(), "less than this number")
EDGES: Final = Record("an edge test", (AT_LEAST, ABOVE, AT_MOST, BELOW))


def read_condition(node: Node, names: Names[Testable], label: str, found: Findings) -> Condition | None:
    """The condition of a mapping node, or None when any part of it was refused."""
    return _Reader(names, found).mapping(node, label, none_of=False)


def edges_cross(lower: Fraction | None, upper: Fraction | None, strict: bool) -> bool:
    """Whether no number lies between two edges; `strict` when one of them is excluded itself."""
    if lower is None or upper is None:
        return False
    return lower > upper or (strict and lower == upper)


class _Reader:
    def __init__(self, names: Names[Testable], found: Findings) -> None:
        self._names = names
        self._found = found

    def mapping(self, node: Node, label: str, none_of: bool) -> Condition | None:
        if not isinstance(node, MappingNode):
            wrong_shape(node, label, "a mapping of tests, such as `wound: leg_ulcer`", self._found)
            return None
        if not node.entries and node.whole:
            self._found.add(
                "empty-condition", node.place, f"{label} tests nothing.", "Give at least one test."
            )
            return None
        parts = [
            self._group(key, value, none_of) if key.text in GROUPS else self._test(key, value, none_of)
            for key, value in node.entries
        ]
        good = tuple(part for part in parts if part is not None)
        if len(good) < len(parts) or not node.whole:
            return None
        return good[0] if len(good) == 1 else AllOf(good)

    def _group(self, key: ScalarNode, node: Node, none_of: bool) -> Condition | None:
        label = f"`{key.text}`"
        if not isinstance(node, ListNode):
            wrong_shape(node, label, "a list of mappings of tests", self._found)
            return None
        least = 2 if key.text == "any_of" else 1
        if len(node.items) < least:
            advice = (
                "Give at least two, or write the one without `any_of`." if node.items else "Give its tests."
            )
            self._found.add("too-few-alternatives", node.place, f"{label} has too few entries.", advice)
            return None
        none_of = none_of or key.text == "none_of"
        parts = [self.mapping(item, f"An entry of {label}", none_of) for item in node.items]
        good = tuple(part for part in parts if part is not None)
        if len(good) < len(parts):
            return None
        return AnyOf(good) if key.text == "any_of" else NoneOf(good)

    def _test(self, key: ScalarNode, node: Node, none_of: bool) -> Condition | None:
        name = NameUsed.read(key, "A name in a condition", self._found)
        if name is None:
            return None
        tested = self._tested(name)
        if isinstance(node, MappingNode):
            return self._edges(tested, node, none_of)
        return self._values(name.value, tested, node)

    def _tested(self, name: Placed[str]) -> Testable | None:
        """What is tested; for an unknown name a misspelt or meant group is thought of first."""
        if name.value not in self._names.known:
            meant = name.value in ("all_of", "not", "or", "and")
            advice = "Tests in one mapping all hold; use `any_of` or `none_of` for the others."
            if not meant:
                advice = did_you_mean(name.value, GROUPS, "")
            if advice:
                message = f"There is no `{name.value}` in a condition."
                self._found.add("unknown-name", name.place, message, advice)
                return None
        return self._names.find(name, self._found)

    def _edges(self, tested: Testable | None, node: MappingNode, none_of: bool) -> EdgeTest | None:
        if tested is not None and tested.testing in ("words", "neither"):
            kind, advice = "a date or a series", f"Test a measure that is computed from `{tested.name}`."
            if tested.testing == "words":
                kind, advice = "a choice", f"Write `{tested.name}: {tested.values[0]}`."
            if tested.flag:
                kind = "yes or no"
            message = f"`{tested.name}` is {kind}, not a number: it has no edges."
            self._found.add("edges-on-no-number", node.place, message, advice)
            return None
        fields = EDGES.read(node, "The test", self._found)
        if fields is None:
            return None
        if none_of:
            self._found.add(
                "edge-in-none-of",
                node.place,
                "An edge test inside `none_of` would come out true for `not_done`.",
                "Write the opposite edges outside `none_of`.",
            )
        good = _edges_fit(fields, self._found)
        if tested is None or tested.testing is None or none_of or not good:
            return None
        edges = (fields.get(key) for key in (AT_LEAST, ABOVE, AT_MOST, BELOW))
        return EdgeTest(tested.name, *(edge.value if edge else None for edge in edges))

    def _values(self, name: str, tested: Testable | None, node: Node) -> ValueTest | None:
        entries = node.items if isinstance(node, ListNode) else (node,)
        if isinstance(node, ListNode) and not entries:
            self._found.add("empty-list", node.place, f"`{name}` lists no value.", "Give at least one value.")
            return None
        values: list[Placed[str]] = []
        good = True
        for entry in entries:
            if isinstance(entry, MappingNode | ListNode):
                if tested is not None:
                    wrong_shape(entry, f"An entry of `{name}`", "one value", self._found)
                good = False
                continue
            value = self._value(name, tested, entry)
            good = good and value is not None
            if value is not None:
                values.append(value)
        different = distinct(values, self._found)
        if not good or tested is None or len(different) < len(entries):
            return None
        return ValueTest(name, different)

    def _value(self, name: str, tested: Testable | None, node: Node) -> Placed[str] | None:
        if isinstance(node, BrokenNode):
            return None
        read = scalar(node, f"`{name}`", "a value", self._found)
        if read is None:
            return None
        if read.text in ("not_asked", "not_recorded"):
            self._found.add(
                "reserved-word",
                read.place,
                f"`{read.text}` cannot be tested.",
                "Only `not_done` can; a test on an answer that is not there is undetermined by itself.",
            )
            return None
        if tested is None or tested.testing is None:
            return None
        if read.text in tested.values:
            return Placed(read.text, read.place)
        self._refuse_value(tested, read)
        return None

    def _refuse_value(self, tested: Testable, read: ScalarNode) -> None:
        if tested.flag and read.text != "not_done":
            check_flag(read, f"`{tested.name}`", self._found)
            return
        if read.text == "not_done":
            message, advice = f"`{tested.name}` is never `not_done`.", "Take the value out."
            if tested.is_input:
                advice = "Take the value out, or say `may_be_not_done: yes` in the vocabulary."
            self._found.add("unknown-value", read.place, message, advice)
            return
        if tested.testing == "words":
            message = f"`{tested.name}` has no value `{shown(read.text)}`."
            self._found.add("unknown-value", read.place, message, choose(read.text, tested.values))
            return
        number = parse_number(read.text)
        advice = "Write edges, such as `{at_least: 0.6, below: 0.8}`."
        if tested.testing == "neither":
            advice = f"Test a measure that is computed from `{tested.name}`."
        elif number is not None:
            advice = f"Write edges, such as `{{at_least: {read.text}}}`."
        message = f"`{tested.name}` cannot be compared with `{shown(read.text)}`."
        self._found.add("value-on-number", read.place, message, advice)


def _edges_fit(fields: Fields, found: Findings) -> bool:
    """Whether there is at least one edge, at most one on each side, and room between them."""
    good = fields.whole
    if not fields.written:
        found.add(
            "empty-condition",
            fields.place,
            "The test has no edge.",
            "Give `at_least`, `above`, `at_most` or `below`.",
        )
        return False
    for first, second in ((AT_LEAST, ABOVE), (AT_MOST, BELOW)):
        if fields.wrote(first) and fields.wrote(second):
            message = f"`{first.name}` and `{second.name}` are both given."
            found.add("edge-twice", fields.place_of(second), message, "Keep one of them.")
            good = False
    if not good:
        return False
    lower, upper = fields.get(AT_LEAST) or fields.get(ABOVE), fields.get(AT_MOST) or fields.get(BELOW)
    strict = fields.wrote(ABOVE) or fields.wrote(BELOW)
    if lower and upper and edges_cross(lower.value, upper.value, strict):
        found.add(
            "empty-range", fields.place, "No number lies between these edges.", "Exchange or correct them."
        )
        return False
    return True


def condition_schema() -> Schema:
    """A mapping of tests; names and values are checked by the loader."""
    alternatives: Schema = {"type": "array", "items": {"$ref": "#/definitions/condition"}}
    return {
        "type": "object",
        "minProperties": 1,
        "properties": {
            "any_of": {"description": "at least one of these holds", "minItems": 2, **alternatives},
            "none_of": {"description": "none of these holds; no edges inside", "minItems": 1, **alternatives},
        },
        "additionalProperties": {
            "anyOf": [
                {"type": ["string", "number"]},
                {"type": "array", "items": {"type": ["string", "number"]}, "minItems": 1},
                {"minProperties": 1, **EDGES.schema()},
            ]
        },
    }


def condition_reference() -> Schema:
    """Where another schema needs a condition."""
    return {"$ref": "#/definitions/condition"}
