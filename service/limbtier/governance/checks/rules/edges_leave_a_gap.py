"""Bands of a number that leave a gap between them, or that share their edge."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.condition_words import number_words
from limbtier.governance.checks.conditions import LOWER, UPPER, Edge, edges_of
from limbtier.governance.checks.context import Context

# Measures in these units are whole numbers, since they are computed from whole numbers and days.
WHOLE_UNITS: Final = ("days", "mmHg")
# Edges closer than this many of the last places shown were meant to meet.
NEAR: Final = 1


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Pairs of an upper and a lower edge of one number that meet in both bands, in none, or just miss."""
    by_name: dict[str, list[Edge]] = {}
    for edge in edges_of(edition.rules):
        by_name.setdefault(edge.name, []).append(edge)
    for name, edges in by_name.items():
        told: set[tuple[Fraction, Fraction]] = set()
        for upper, lower in _pairs(edges):
            says = _says(edition, name, upper, lower)
            if says and (upper.at, lower.at) not in told:
                told.add((upper.at, lower.at))
                message = (
                    f"{says}: {_words(upper)} in `{upper.rule.id}`, {_words(lower)} in `{lower.rule.id}`."
                )
                advice = (
                    "Let one band end with `below` where the next begins with `at_least` the same number."
                )
                yield about_rule(lower.rule, message, advice)


def _pairs(edges: Sequence[Edge]) -> Iterator[tuple[Edge, Edge]]:
    for upper in (edge for edge in edges if edge.kind in UPPER):
        for lower in (edge for edge in edges if edge.kind in LOWER):
            yield upper, lower


def _says(edition: Edition, name: str, upper: Edge, lower: Edge) -> str | None:
    if upper.at == lower.at:
        if (upper.kind, lower.kind) == ("at_most", "at_least"):
            return f"`{name}` of exactly {number_words(upper.at)} belongs to two bands"
        if (upper.kind, lower.kind) == ("below", "above"):
            return f"`{name}` of exactly {number_words(upper.at)} belongs to no band"
        return None
    step = _finest_step(edition, name)
    shown = Fraction(1, 10 ** _places_shown(edition, name))
    apart = lower.at - upper.at
    if not 0 < apart <= NEAR * shown:
        return None
    last_in = upper.at if upper.kind == "at_most" else upper.at - (step or 0)
    first_in = lower.at if lower.kind == "at_least" else lower.at + (step or 0)
    if step is not None and first_in - last_in <= step:
        return None
    return f"`{name}` between {number_words(upper.at)} and {number_words(lower.at)} belongs to no band"


def _finest_step(edition: Edition, name: str) -> Fraction | None:
    """The step between two values that a number can have; None where it has no step."""
    entry = edition.vocabulary.inputs.get(name)
    if entry is not None:
        return Fraction(1, 10**entry.places)
    return Fraction(1) if edition.vocabulary.measures[name].unit in WHOLE_UNITS else None


def _places_shown(edition: Edition, name: str) -> int:
    entry = edition.vocabulary.inputs.get(name)
    return entry.places if entry is not None else edition.vocabulary.measures[name].places


def _words(edge: Edge) -> str:
    return f"`{edge.kind}: {number_words(edge.at)}`"


CHECK: Final = Check(
    id="edges-leave-a-gap",
    title="Bands of a number that leave a gap or overlap",
    explanation=Explanation(
        finds="Two edges of one number where a band ends and another begins: the number at the edge "
        "belongs to both, or to none, or the bands miss one another by no more than the last place "
        "that is shown.",
        why="A computed ratio is compared unrounded. 0.795 is neither at most 0.79 nor at least 0.8, so "
        "that no rule about either band applies to this leg.",
        mend="Let each band begin with `at_least` and end with `below`, and the next begin at the same "
        "number.",
        example="`abpi: {at_least: 0.5, at_most: 0.79}` in one rule, `abpi: {at_least: 0.8}` in another.",
    ),
    severity="error",
    find=find,
)
