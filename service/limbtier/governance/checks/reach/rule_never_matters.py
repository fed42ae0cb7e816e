"""A rule without which every decision is the same."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.reach.told import unless


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Rules that change no decision; those that never apply at all are named by another check."""
    for rule in edition.rules:
        if context.prover.rule_can_apply(rule.id) is not True:
            continue
        message = f"Without the rule `{rule.id}` every decision would be the same."
        advice = "Take it out, or correct what it was meant to change."
        told = context.prover.rule_matters(rule.id)
        if finding := unless(told, "rule", rule.id, message, advice):
            yield finding.at(rule.file, rule.line)


CHECK: Final = Check(
    id="rule-never-matters",
    title="A rule that never matters",
    explanation=Explanation(
        finds="A rule that applies to some assessments and whose removal changes no decision: no tier, "
        "range, target, disposition, review, arrangement, material, caution or technique. Which "
        "rules are named as reasons is not compared.",
        why="It looks like a safeguard and is none: other rules already say all that it says.",
        mend="Take it out, or correct what it was meant to change. If it is there only to give its "
        "reason, suppress the finding and say so.",
        example="A limit to moderate for a leg that another rule always limits to support.",
    ),
    severity="warning",
    find=find,
    needs_prover=True,
)
