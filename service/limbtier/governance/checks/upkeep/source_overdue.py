"""A source that nobody has looked at for too long."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Sources whose `checked_on` is too long ago, or still to come."""
    marks = context.settings.marks
    for source in edition.sources.values():
        if source.checked_on > context.day:
            message = f"The source was looked at on {source.checked_on}, which is still to come."
            yield Finding("source", source.id, message, "Write the day on which it was read.")
        elif marks is not None:
            due = source.checked_on + timedelta(days=marks.source_checked_within_days)
            if due < context.day:
                message = f"The source was last looked at on {source.checked_on}; it was due again on {due}."
                advice = (
                    "See whether it still says so, has been replaced or withdrawn, and write the day down."
                )
                yield Finding("source", source.id, message, advice)


CHECK: Final = Check(
    id="source-overdue",
    title="A source past its review date",
    explanation=Explanation(
        finds="A source whose `checked_on` is longer ago than `source_checked_within_days` in "
        "`checks.yaml`, or in the future.",
        why="Guidance is replaced and withdrawn. A rule that rests on what a guideline said some years "
        "ago may harm.",
        mend="Look whether the source still says so, and give the source of a new edition the day.",
        example="`checked_on: 2021-04-01` in an edition that is released in 2026.",
    ),
    severity="warning",
    find=find,
)
