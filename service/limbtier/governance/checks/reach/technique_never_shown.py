"""Technique that a rule gives and no decision shows."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.reach.told import unless


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Rules whose `instruct` is shown with no assessment."""
    for rule in edition.rules:
        if not rule.then.instruct:
            continue
        message = f"What `{rule.id}` instructs is never shown."
        advice = (
            "Look at `instruct_at`, at `instruct_with`, and at what limits the leg where the rule applies."
        )
        told = context.prover.instruction_can_be_shown(rule.id)
        if finding := unless(told, "rule", rule.id, message, advice):
            yield finding.at(rule.file, rule.line)


CHECK: Final = Check(
    id="technique-never-shown",
    title="Technique that no decision shows",
    explanation=Explanation(
        finds="A rule with `instruct` whose sentences are shown with no assessment: where the rule "
        "applies the leg is never at the tiers, or the materials never fit, for which they are "
        "meant.",
        why="The nurse is never told what was written for her.",
        mend="Correct `instruct_at` or `instruct_with`, or the rule's tests.",
        example="`instruct_at: strong` in a rule that itself limits to mild.",
    ),
    severity="warning",
    find=find,
    needs_prover=True,
)
