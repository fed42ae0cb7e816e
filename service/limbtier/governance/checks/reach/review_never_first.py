"""A review interval that is never the earliest."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.reach.told import unless


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Reviews set by a rule, without which every review would be on the same day."""
    for rule in edition.rules:
        if rule.then.review is None:
            continue
        message = f"The review of `{rule.id}` never comes first: something else always sets one as early."
        advice = "Shorten it, or take `review` out of the rule."
        told = context.prover.review_matters(rule.id)
        if finding := unless(told, "rule", rule.id, message, advice):
            yield finding.at(rule.file, rule.line)


CHECK: Final = Check(
    id="review-never-first",
    title="A review that never comes first",
    explanation=Explanation(
        finds="A rule with `review` that never brings a review forward, because the tier, the disposition "
        "or other rules always set one as early.",
        why="The team that wrote it believes that these legs are looked at sooner than others.",
        mend="Shorten the interval, or take it out. If it is kept so that sister rules read alike, "
        "suppress the finding.",
        example="`review: {within: 7 days}` at a limit to support, where the tier itself asks for 48 hours.",
    ),
    severity="warning",
    find=find,
    needs_prover=True,
)
