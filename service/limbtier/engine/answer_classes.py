"""One answer for each way in which the rules of an edition can tell the answers to a question apart.

These are for looking ahead from a form. A question of which only something computed is read, a pressure of
which a ratio is made, is represented by the edges of what has the same unit; so a class may be missing here.
Nothing may rest on that but the order of questions.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from fractions import Fraction
from itertools import pairwise

from limbtier.domain.assessment import Answer
from limbtier.domain.condition import EdgeTest, tests
from limbtier.domain.vocabulary import Input
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.answer_states import NOT_DONE
from limbtier.measures.registry import MEASURES


class AnswerClasses:
    """The classes of every input of one edition; built once."""

    def __init__(self, prepared: PreparedEdition) -> None:
        edges = _edges(prepared)
        self._ages: dict[str, tuple[int, ...]] = {}
        self._fixed: dict[str, tuple[Answer, ...]] = {}
        for name, entry in prepared.edition.vocabulary.inputs.items():
            own = edges.get(name, set()).union(
                *[
                    edges.get(measure.name, set())
                    for measure in MEASURES
                    if name in measure.ingredients and (entry.kind == "date" or measure.unit == entry.unit)
                ]
            )
            if entry.kind == "date":
                self._ages[name] = tuple(sorted({0, *[int(edge) + 1 for edge in own]}))
            states = (NOT_DONE,) if entry.may_be_not_done else ()
            self._fixed[name] = (*_representatives(entry, sorted(own)), *states)

    def of(self, name: str, today: date) -> Iterator[Answer]:
        """An answer of each class."""
        for age in self._ages.get(name, ()):
            yield today - timedelta(days=age)
        yield from self._fixed[name]


def _edges(prepared: PreparedEdition) -> dict[str, set[Fraction]]:
    found: dict[str, set[Fraction]] = {}
    for rule in prepared.edition.rules:
        for test in tests(rule.when):
            if isinstance(test, EdgeTest):
                of_test = (test.at_least, test.above, test.at_most, test.below)
                found.setdefault(test.name, set()).update(edge for edge in of_test if edge is not None)
    return found


def _representatives(entry: Input, edges: Sequence[Fraction]) -> Iterable[Answer]:
    match entry.kind:
        case "flag":
            return ("yes", "no")
        case "choice":
            return [choice.value for choice in entry.choices]
        case "date":
            return ()
        case "number_series":
            middle = _between(entry, edges)[0]
            return ((middle, middle),)
        case "whole_number" | "number":
            return _between(entry, edges)


def _between(entry: Input, edges: Sequence[Fraction]) -> list[Fraction]:
    """A number of each interval between edges, to the decimals that are asked for; the middle of all of it
    where there are none."""
    low = Fraction(0) if entry.range.at_least is None else entry.range.at_least
    high = low + 1000 if entry.range.at_most is None else entry.range.at_most
    scale = 10**entry.places
    ends = [low, *[edge for edge in edges if low < edge < high], high]
    middles = [(one + other) / 2 for one, other in pairwise(ends)]
    return sorted({Fraction(middle * scale // 1, scale) for middle in middles})
