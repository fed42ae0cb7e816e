"""Two entries that people cannot tell apart by what they are called."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.texts import EditionText, texts_of

CALLED_BY: Final = ("title", "question")


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Entries of one sort whose title or question is that of an earlier one; inputs within one scope."""
    first: dict[tuple[str, str, str], str] = {}
    for text in _called(edition):
        scope = edition.vocabulary.inputs[text.name].scope if text.part == "input" else ""
        key = text.part, scope, " ".join(text.text.casefold().rstrip(".?").split())
        other = first.setdefault(key, text.name)
        if other != text.name:
            message = f"The {text.part} `{text.name}` is called the same as `{other}`: {text.text}"
            yield text.finding(message, "Say in one of the two what sets it apart.")


def _called(edition: Edition) -> Iterator[EditionText]:
    return (text for text in texts_of(edition) if text.field in CALLED_BY)


CHECK: Final = Check(
    id="title-repeated",
    title="Two entries with the same title",
    explanation=Explanation(
        finds="Two rules, settings, arrangements, materials, sources, facts or lifts with the same title, "
        "or two questions of one scope with the same words; capital letters and the last stop do "
        "not count.",
        why="In a decision, on a form and in a trace people go by the title, and cannot tell which of "
        "the two is meant.",
        mend="Say in one of the two what sets it apart.",
        example="`not-tolerated-mild` and `not-tolerated-moderate` are both titled `Not tolerated`.",
    ),
    severity="warning",
    find=find,
)
