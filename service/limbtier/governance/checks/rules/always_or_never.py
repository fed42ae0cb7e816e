"""A test that every answer meets, or that none can meet."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.condition import EdgeTest, Test, tests
from limbtier.domain.edition import Edition
from limbtier.domain.vocabulary import Input
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.condition_words import condition_words
from limbtier.governance.checks.conditions import Span
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Edges outside the range of an input, or around all of it; a list of all values of an input."""
    for rule in edition.rules:
        for test in tests(rule.when):
            entry = edition.vocabulary.inputs.get(test.name)
            says = _says(test, entry) if entry is not None else None
            if says:
                message = f"{says}: {condition_words(test)}."
                yield about_rule(rule, message, "Correct the edge or the values, or take the test out.")


def _says(test: Test, entry: Input) -> str | None:
    if not isinstance(test, EdgeTest):
        every = set(entry.values())
        # Where a question is not always asked, such a list means that it was asked.
        listed = entry.kind in ("flag", "choice") and entry.asked_when is None
        whole = listed and every <= set(test.values)
        return f"Every answer to `{entry.name}` meets the test" if whole else None
    taken = Span(entry.range.at_least, high=entry.range.at_most)
    wanted = Span.of(test)
    if taken.meet(wanted).empty:
        return f"No answer that `{entry.name}` takes meets the test"
    if not entry.may_be_not_done and entry.asked_when is None and taken.within(wanted):
        return f"Every answer to `{entry.name}` meets the test"
    return None


CHECK: Final = Check(
    id="always-or-never",
    title="A test that always or never holds",
    explanation=Explanation(
        finds="Edges that no number in the range of the input meets, or that all of them meet; a list "
        "that holds every value of an input that is always asked.",
        why="The number was mistyped, or is in another unit. The rule applies to nobody, or to everybody.",
        mend="Correct the edge or the list; compare it with the range and the unit in the vocabulary.",
        example="`pain_score: {at_least: 70}`, where pain is scored from 0 to 10.",
    ),
    severity="error",
    find=find,
)
