"""An edge of a number that no worked case tries."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Final

from limbtier.domain.condition import EdgeTest
from limbtier.domain.edition import Edition
from limbtier.engine.interpreter import meets_edges
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.condition_words import number_words
from limbtier.governance.checks.conditions import Edge, edges_of
from limbtier.governance.checks.context import Context


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Edges at which no case has exactly this number, or beyond which no case has a number; each once."""
    numbers: dict[str, set[Fraction]] = {}
    for decided in context.cases:
        for name, answer in decided.facts.items():
            if isinstance(answer, Fraction):
                numbers.setdefault(name, set()).add(answer)
    told: set[tuple[str, Fraction]] = set()
    for edge in edges_of(edition.rules):
        if (edge.name, edge.at) in told:
            continue
        told.add((edge.name, edge.at))
        tried = numbers.get(edge.name, set())
        if edge.at not in tried:
            message = f"No worked case has `{edge.name}` at exactly {number_words(edge.at)}."
            yield about_rule(edge.rule, message, _ADVICE)
        elif not any(_beyond(edge, number) for number in tried):
            message = f"No worked case has `{edge.name}` on the other side of {number_words(edge.at)}."
            yield about_rule(edge.rule, message, _ADVICE)


_ADVICE: Final = "Add a case exactly at the edge, and one on the side to which the edge does not belong."


def _beyond(edge: Edge, number: Fraction) -> bool:
    """Whether a number reads otherwise than the edge itself."""
    test = EdgeTest(edge.name, **{edge.kind: edge.at})
    return meets_edges(test, number) != meets_edges(test, edge.at)


CHECK: Final = Check(
    id="edge-without-case",
    title="An edge that no worked case tries",
    explanation=Explanation(
        finds="An edge that a rule compares a number with, where no worked case has exactly this number, "
        "or none has a number on the side that reads otherwise.",
        why="`below` instead of `at_most` shows only in the leg that lies exactly at the edge.",
        mend="Add a case exactly at the edge, and one just beyond it.",
        example="`abpi: {below: 0.8}` and cases with 0.75 and 0.9, none with 0.80.",
    ),
    severity="warning",
    find=find,
)
