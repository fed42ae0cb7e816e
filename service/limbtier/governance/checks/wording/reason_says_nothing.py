"""A reason that gives none."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.reading_grade import words

FEWEST_WORDS: Final = 4
_ELSEWHERE: Final = re.compile(
    r"(?i)^\W*(?:see|as (?:above|below|before|agreed|discussed)|same as|ditto|n/?a|tbc|tbd|to do|todo"
    r"|to follow|none)\b"
)
ADVICE: Final = "Say in a sentence why, for a reader who has nothing but this decision."


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Reasons of rules and of changes that are a word or two, point elsewhere, or repeat a title."""
    for rule in edition.rules:
        if says := _empty(rule.because, rule.title):
            message = f"The reason {says}: {rule.because}"
            yield Finding("rule", rule.id, message, ADVICE, rule.file, rule.line)
    for change in edition.changes:
        if change.reason is not None and (says := _empty(change.reason, "")):
            message = f"The reason for the change of `{change.name}` {says}: {change.reason}"
            part = "input" if change.part == "choice" else change.part
            yield Finding(part, change.name, message, ADVICE, change.file, change.line)


def _empty(reason: str, title: str) -> str | None:
    if _ELSEWHERE.search(reason):
        return "gives none"
    if len(words(reason)) < FEWEST_WORDS:
        return f"has fewer than {FEWEST_WORDS} words"
    if reason.casefold().rstrip(".") == title.casefold().rstrip("."):
        return "only repeats the title"
    return None


CHECK: Final = Check(
    id="reason-says-nothing",
    title="A reason that says nothing",
    explanation=Explanation(
        finds="A `because`, or the `reason` of a local change, that is shorter than four words, that "
        "points elsewhere (as above, see the guideline, to follow), or that only repeats the title "
        "of its rule.",
        why="The reason is all that the nurse and a later auditor see. Loading asks that there is one; "
        "this check asks that it says something.",
        mend="Say in a sentence why, for a reader who has nothing but the decision.",
        example="`because: As discussed with the team.`",
    ),
    severity="error",
    find=find,
)
