"""A derived fact that never changes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.reach.told import unless


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Derived facts that are `yes` in no assessment, or `no` in none."""
    for name in edition.vocabulary.facts:
        for value in ("yes", "no"):
            message = f"The fact `{name}` is `{value}` in no assessment."
            advice = "Correct the rules that classify it."
            told = context.prover.fact_can_be(name, value)
            if finding := unless(told, "fact", name, message, advice):
                yield finding


CHECK: Final = Check(
    id="fact-always-the-same",
    title="A derived fact that is never yes, or never no",
    explanation=Explanation(
        finds="A derived fact that no assessment makes `yes`, or that none makes `no`.",
        why="A rule that tests it applies to everybody or to nobody.",
        mend="Correct the rules that classify the fact.",
        example="`established` is classified by two rules, one for legs with compression and one for legs "
        "without.",
    ),
    severity="error",
    find=find,
    needs_prover=True,
)
