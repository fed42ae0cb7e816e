"""An edition that was due for review."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """The edition, once the day by which it is reviewed has passed, unless it is retired."""
    if edition.status != "retired" and edition.review_by < context.day:
        message = f"The edition was to be reviewed by {edition.review_by}."
        advice = "Review it, and bring out a new edition; a released one is never edited."
        yield Finding("edition", edition.id, message, advice)


CHECK: Final = Check(
    id="edition-review-overdue",
    title="An edition past its review date",
    explanation=Explanation(
        finds="An edition in use, or in the making, whose `review_by` has passed.",
        why="Whoever signed it said how long it may stand.",
        mend="Review the edition as a whole, and bring out a new one, if only with a new date.",
        example="`review_by: 2026-06-30` on 1 July 2026.",
    ),
    severity="warning",
    find=find,
)
