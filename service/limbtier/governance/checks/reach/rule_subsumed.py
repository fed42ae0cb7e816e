"""A rule that another rule makes superfluous."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.context import Context, Subsumption


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Rules that count only where another rule counts that concludes at least as much."""
    rules = {rule.id: rule for rule in edition.rules}
    for told in context.prover.subsumptions():
        if isinstance(told, Subsumption):
            message = f"Whenever the rule counts, `{told.by}` counts too and concludes at least as much."
            yield about_rule(
                rules[told.rule], message, f"Take it out, or say what sets it apart from `{told.by}`."
            )
        else:
            message = f"It could not be told whether a rule is covered by another ({told.reason})."
            yield Finding("edition", edition.id, message, "Make the conditions of the rules simpler.")


CHECK: Final = Check(
    id="rule-subsumed",
    title="A rule that another covers",
    explanation=Explanation(
        finds="A rule that counts only where one other rule counts too, and that concludes nothing which "
        "the other does not conclude as strictly.",
        why="Both have to be kept alike for ever, and one day only one of them is changed.",
        mend="Take the narrower rule out, or let it conclude what makes it different.",
        example="`wound: leg_ulcer` proposes strong, and so does `wound: [leg_ulcer, erosions]`.",
    ),
    severity="warning",
    find=find,
    needs_prover=True,
)
