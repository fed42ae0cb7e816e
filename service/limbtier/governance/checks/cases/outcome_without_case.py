"""A tier or a disposition that no worked case comes to."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Tiers and dispositions that no worked case has."""
    tiers = {decided.tier for decided in context.cases}
    for tier in edition.tiers:
        if tier.name not in tiers:
            message = f"No worked case comes to the tier `{tier.name}`."
            yield Finding("tier", tier.name, message, "Add a case in which it is given.")
    dispositions = {decided.disposition for decided in context.cases}
    for disposition in DISPOSITIONS:
        if disposition not in dispositions:
            message = f"No worked case comes to the disposition `{disposition}`."
            yield Finding("disposition", disposition, message, "Add a case in which it comes out.")


CHECK: Final = Check(
    id="outcome-without-case",
    title="A tier or disposition without a worked case",
    explanation=Explanation(
        finds="A tier, or a disposition, that none of the worked cases comes to.",
        why="A whole sort of answer has never been looked at.",
        mend="Add a case that must come to it.",
        example="No case steps down.",
    ),
    severity="warning",
    find=find,
)
