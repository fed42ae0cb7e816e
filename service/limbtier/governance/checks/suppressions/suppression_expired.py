"""A finding that was accepted until a day that has passed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(_edition: Edition, context: Context) -> Iterable[Finding]:
    """Suppressions whose `until` has passed; what they suppressed is a finding again."""
    for suppression, _met in context.suppressions:
        if suppression.until < context.day:
            message = (
                f"`{suppression.check}` was accepted for the {suppression.part} `{suppression.name}` until "
                f"{suppression.until} by the {suppression.decided_by}."
            )
            advice = "Mend what it finds, or let the role decide again and give a new day."
            yield Finding(
                "suppression", suppression.check, message, advice, suppression.file, suppression.line
            )


CHECK: Final = Check(
    id="suppression-expired",
    title="An accepted finding whose time has passed",
    explanation=Explanation(
        finds="An entry under `suppressions` in `checks.yaml` whose `until` has passed.",
        why="It was accepted for a time. It no longer suppresses anything, and the finding is back.",
        mend="Mend what the check finds, or decide again and give a new day.",
        example="`until: 2026-06-30`, and today is 1 July.",
    ),
    severity="warning",
    find=find,
    judges_suppressions=True,
)
