"""A rule that applies in no worked case."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.context import Context


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Rules that apply in no worked case."""
    applied = frozenset().union(*(decided.applied for decided in context.cases))
    for rule in edition.rules:
        if rule.id not in applied:
            message = f"The rule `{rule.id}` applies in no worked case."
            yield about_rule(rule, message, "Add a case in which it applies.")


CHECK: Final = Check(
    id="rule-without-case",
    title="A rule without a worked case",
    explanation=Explanation(
        finds="A rule that applies in none of the worked cases.",
        why="Nobody has written down a person to whom it happens and what should come out, so nobody "
        "would notice that it does something else.",
        mend="Add a case in which it applies, and say what must come out before running it.",
        example="A rule for legs with a stent is added, and no case has a stent.",
    ),
    severity="warning",
    find=find,
)
