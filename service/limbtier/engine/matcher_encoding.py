"""Facts as small whole numbers, and tests as sets of such numbers: the language of the matcher's network.

Each name that a rule reads becomes one field with a code for every answer the rules can tell apart:
a text has the code of its value, a number the code of its exact position among the edges that any rule
uses for the name (below the first, on the first, between, ...), and "not done", "not asked" and "not
recorded" have codes of their own. Every field is in every message, so nothing hangs on how the network
reads a missing field. Numbers never reach the network: they are placed here, in whole-number arithmetic.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from math import lcm
from typing import Literal

from limbtier.domain.assessment import Answer
from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, Test, ValueTest
from limbtier.foundation.answer_states import NOT_ASKED, NOT_DONE

MOST_ARRANGED = 16  # more symbols than this keep the order they come in: arranging takes too long

Codes = frozenset[int]
Comparison = tuple[Literal["$eq", "$neq", "$gte", "$lte"], int]


class _Kind(Enum):
    """What is neither a named text nor a position."""

    NOT_RECORDED = 1
    OTHER = 2  # an answer that no test names


Symbol = str | int | _Kind
_Table = dict[Answer | None, str]
_look_up: Callable[[_Table, Answer | None, str], str] = dict.get


def comparisons(codes: Codes, size: int) -> tuple[Comparison, ...]:
    """Few comparisons that all hold for exactly these of the codes 0 to `size` - 1; at least one is given."""
    if len(codes) == 1 and size > 1:
        return (("$eq", min(codes)),)
    lowest, highest = min(codes), max(codes)
    within: list[Comparison] = []
    if lowest > 0:
        within.append(("$gte", lowest))
    if highest < size - 1:
        within.append(("$lte", highest))
    within += [("$neq", code) for code in range(lowest, highest) if code not in codes]
    without: list[Comparison] = [("$neq", code) for code in range(size) if code not in codes]
    return tuple(without if len(without) <= len(within) else within)


@dataclass(frozen=True, slots=True)
class Field:
    """One name: its label in the message, its edges in rising order, and the code of each symbol."""

    name: str
    label: str
    edges: tuple[Fraction, ...]
    codes: Mapping[Symbol, int]

    @property
    def size(self) -> int:
        """How many codes there are."""
        return len(self.codes)

    @property
    def is_numeric(self) -> bool:
        """Whether any test compares it with an edge."""
        return 0 in self.codes

    def met_by(self, test: Test, *, possibly: bool, holds: bool) -> Codes:
        """The codes on which the test holds (with `possibly`: is not false); without `holds`, all others."""
        met = {self.codes[symbol] for symbol in _symbols_met(test, self.edges)}
        if possibly:
            met.add(self.codes[_Kind.NOT_RECORDED])
        return frozenset(met if holds else set(range(self.size)) - met)

    def pieces(self) -> tuple[_Table, str]:
        """What is written for each text and for "not recorded" (None), and for any other answer."""
        table: _Table = {symbol: self._piece(symbol) for symbol in self.codes if isinstance(symbol, str)}
        table[None] = self._piece(_Kind.NOT_RECORDED)
        return table, self._piece(_Kind.OTHER)

    def scale(self) -> tuple[int, list[int], list[str]]:
        """A factor that makes all edges whole, twice the whole edges, and what is written for each position.

        Twice, so that a number between two neighbouring whole ones has a place of its own.
        """
        factor = lcm(*(edge.denominator for edge in self.edges))
        doubled = [2 * int(edge * factor) for edge in self.edges]
        return factor, doubled, [self._piece(position) for position in range(2 * len(doubled) + 1)]

    def _piece(self, symbol: Symbol) -> str:
        return f',"{self.label}":{self.codes[symbol]}'


class Encoding:
    """The fields of a list of conditions, and the message that carries facts in them."""

    def __init__(self, conditions: Iterable[Condition], labels: Iterator[str]) -> None:
        uses: dict[str, Counter[tuple[Test, bool]]] = {}
        for condition in conditions:
            for test, holds in _tests_with_sense(condition, holds=True):
                uses.setdefault(test.name, Counter())[test, holds] += 1
        self.fields = {name: _field(name, next(labels), uses[name]) for name in sorted(uses)}
        texts = [(field.name, *field.pieces()) for field in self.fields.values() if not field.is_numeric]
        self._names = tuple(name for name, _, _ in texts)
        self._tables = tuple(table for _, table, _ in texts)
        self._others = tuple(other for _, _, other in texts)
        self._numbers = tuple(
            (field.name, *field.pieces(), *field.scale())
            for field in self.fields.values()
            if field.is_numeric
        )

    def write(self, facts: Mapping[str, Answer]) -> str:
        """The codes of all fields as members of a JSON object, each with a comma before it."""
        get = facts.get
        pieces = list(map(_look_up, self._tables, map(get, self._names), self._others))
        for name, table, other, scale, edges, positions in self._numbers:
            answer = get(name)
            if type(answer) is Fraction:
                numerator, denominator = answer.as_integer_ratio()
                whole, rest = divmod(numerator * scale, denominator)
                place = 2 * whole + (rest > 0)
                pieces.append(positions[bisect_left(edges, place) + bisect_right(edges, place)])
            else:
                pieces.append(_look_up(table, answer, other))
        return "".join(pieces)


def _tests_with_sense(condition: Condition, *, holds: bool) -> Iterator[tuple[Test, bool]]:
    """Every test of the tree, and whether it is read as it stands or turned round."""
    match condition:
        case ValueTest() | EdgeTest():
            yield condition, holds
        case AllOf(parts) | AnyOf(parts) | NoneOf(parts):
            for part in parts:
                yield from _tests_with_sense(part, holds=holds != isinstance(condition, NoneOf))


def _symbols_met(test: Test, edges: Sequence[Fraction]) -> list[Symbol]:
    """The symbols on which a test holds; position 2i + 1 is on edge i, and the even ones are between."""
    if isinstance(test, ValueTest):
        return [value for value in test.values if value != NOT_ASKED]
    lowest, highest = 0, 2 * len(edges)
    if test.at_least is not None:
        lowest = max(lowest, 2 * edges.index(test.at_least) + 1)
    if test.above is not None:
        lowest = max(lowest, 2 * edges.index(test.above) + 2)
    if test.at_most is not None:
        highest = min(highest, 2 * edges.index(test.at_most) + 1)
    if test.below is not None:
        highest = min(highest, 2 * edges.index(test.below))
    return list(range(lowest, highest + 1))


def _field(name: str, label: str, uses: Counter[tuple[Test, bool]]) -> Field:
    edges: set[Fraction] = set()
    texts: Counter[str] = Counter()
    numeric = False
    for (test, _), count in uses.items():
        if isinstance(test, ValueTest):
            texts.update(dict.fromkeys(test.values, count))
        else:
            numeric = True
            edges.update(e for e in (test.at_least, test.above, test.at_most, test.below) if e is not None)
    rising = tuple(sorted(edges))
    named: list[Symbol] = [text for text, _ in texts.most_common() if text not in {NOT_DONE, NOT_ASKED}]
    positions: list[Symbol] = list(range(2 * len(rising) + 1)) if numeric else []
    states: list[Symbol] = [NOT_DONE, NOT_ASKED, _Kind.OTHER]
    wanted: Counter[frozenset[Symbol]] = Counter()
    everything = frozenset([*named, *positions, *states, _Kind.NOT_RECORDED])
    for (test, holds), count in uses.items():
        met = frozenset(_symbols_met(test, rising))
        for known in (met, met | {_Kind.NOT_RECORDED}):
            wanted[known if holds else everything - known] += count
    order = _arranged([*named[:1], *positions, _Kind.NOT_RECORDED, *named[1:], *states], wanted)
    return Field(name, label, rising, {symbol: code for code, symbol in enumerate(order)})


def _arranged(order: list[Symbol], wanted: Counter[frozenset[Symbol]]) -> list[Symbol]:
    """Codes in an order that lets the wanted sets be told by few comparisons: one symbol at a time is moved
    to its best place, until none gains. Positions keep their order, so that edges stay comparisons."""
    best = _cost(order, wanted)
    improved = len(order) <= MOST_ARRANGED
    while improved:
        improved = False
        for symbol in [symbol for symbol in order if not isinstance(symbol, int)]:
            rest = [other for other in order if other != symbol]
            for place in range(len(order)):
                trial = [*rest[:place], symbol, *rest[place:]]
                if (cost := _cost(trial, wanted)) < best:
                    order, best, improved = trial, cost, True
    return order


def _cost(order: Sequence[Symbol], wanted: Counter[frozenset[Symbol]]) -> int:
    code = {symbol: place for place, symbol in enumerate(order)}
    return sum(
        count * len(comparisons(frozenset(code[symbol] for symbol in symbols), len(order)))
        for symbols, count in wanted.items()
        if symbols
    )
