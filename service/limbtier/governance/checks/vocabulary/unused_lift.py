"""A lift that no limit waits for."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Lifts that no rule names under `until`."""
    used = {rule.then.limit.until for rule in edition.rules if rule.then.limit is not None}
    for name in edition.vocabulary.lifts:
        if name not in used:
            message = f"No limit waits for `{name}`."
            yield Finding("lift", name, message, "Name it under `until` of a limit, or take it out.")


CHECK: Final = Check(
    id="unused-lift",
    title="A lift that no limit waits for",
    explanation=Explanation(
        finds="A word for what lifts a limit that no rule names under `until`.",
        why="A limit that was meant to wait for it has no `until`, and then shows as one that nothing lifts.",
        mend="Name it under `until` of that limit, or take it out of the vocabulary.",
        example="`lifts` has `heart_team`, and the rule that waits for the team says only `limit: {tier: "
        "support}`.",
    ),
    severity="warning",
    find=find,
)
