"""Two worked cases with the same answers."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_case
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Cases whose assessment is that of an earlier one, whatever they expect."""
    first: dict[str, str] = {}
    for case in edition.cases:
        other = first.setdefault(json.dumps(case.assessment, sort_keys=True, default=str), case.id)
        if other != case.id:
            message = f"The case `{case.id}` has the same answers on the same day as `{other}`."
            yield about_case(case, message, "Change what it was meant to show, or join the two.")


CHECK: Final = Check(
    id="case-repeated",
    title="Two worked cases with the same answers",
    explanation=Explanation(
        finds="A worked case with the same answers, day and calendar as an earlier one.",
        why="It was copied to show something else, and the answer that was to differ was not changed.",
        mend="Change that answer, or join the expectations of the two.",
        example="`ratio-0-80` is copied to `ratio-0-79`, and its ankle pressure is left as it was.",
    ),
    severity="warning",
    find=find,
)
