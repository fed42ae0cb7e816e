"""A rule that applies to no assessment."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.reach.told import unless


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Rules that apply to no assessment that the edition takes."""
    for rule in edition.rules:
        message = f"The rule `{rule.id}` applies to no assessment."
        advice = "Correct its tests; look at what else is asked when they hold."
        told = context.prover.rule_can_apply(rule.id)
        if finding := unless(told, "rule", rule.id, message, advice):
            yield finding.at(rule.file, rule.line)


CHECK: Final = Check(
    id="rule-never-applies",
    title="A rule that can never apply",
    explanation=Explanation(
        finds="A rule that applies to no assessment whatever, shown by the prover over all answers "
        "together: ranges, questions that are not asked, measures computed from one another, and "
        "facts that other rules derive.",
        why="The people it was written for are passed over, and nothing shows it.",
        mend="Correct its tests. The message of `contradictory-tests`, if there is one, names the pair.",
        example="`ankle_pressure: {below: 50}` with `arterial_result: none`: with a pressure there is a "
        "result.`ankle_pressure: {below: 50}` with `arterial_result: none`: with a pressure there "
        "is a result.",
    ),
    severity="error",
    find=find,
    needs_prover=True,
)
