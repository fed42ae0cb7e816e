"""The names that an edition gives to whatever is read after it: guard rails, and editions based on it."""

from __future__ import annotations

from limbtier.domain.edition import Edition
from limbtier.domain.vocabulary import Input
from limbtier.measures.registry import MEASURES
from limbtier.rulesets.names import Names, Testable, Testing


def testable_of(edition: Edition) -> Names[Testable]:
    """The names that a condition about decisions of an edition may test."""
    testable: Names[Testable] = Names("input, measure or fact")
    for name, entry in edition.vocabulary.inputs.items():
        testable.known[name] = testable_of_input(entry)
    for measure in MEASURES:
        number = measure.kind == "number"
        values = ("not_done",) if number else measure.choices
        testable.known[measure.name] = Testable(
            measure.name, "number" if number else "words", False, values, "measure"
        )
    for name in edition.vocabulary.facts:
        testable.known[name] = Testable(name, "words", True, ("yes", "no"), "fact")
    return testable


def testable_of_input(entry: Input) -> Testable:
    """What a condition may test of an input."""
    return Testable(
        entry.name, _testing(entry), entry.kind == "flag", entry.values(), "input", entry.scope, entry
    )


def _testing(entry: Input) -> Testing:
    if entry.kind in ("flag", "choice"):
        return "words"
    return "number" if entry.kind in ("whole_number", "number") else "neither"
