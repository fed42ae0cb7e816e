"""A material that some rule chooses and no decision does."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.reach.told import unless


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Materials that a rule chooses and that fit no assessment."""
    chosen = {name for rule in edition.rules for name in rule.then.choose}
    for name in edition.materials:
        if name in chosen:
            message = f"The material `{name}` is chosen by rules and fits no assessment."
            advice = "Look at the tiers it serves, and at the rules that avoid it."
            told = context.prover.material_can_be_chosen(name)
            if finding := unless(told, "material", name, message, advice):
                yield finding


CHECK: Final = Check(
    id="material-never-chosen",
    title="A material that never fits",
    explanation=Explanation(
        finds="A material that rules choose, but never at a tier that it serves, or never without another "
        "rule avoiding it.",
        why="It stands in the list and is never offered.",
        mend="Correct the tiers that it serves, the rules that choose it, or those that avoid it.",
        example="A wrap that serves `mild` is chosen only by a rule that proposes and keeps `strong`.",
    ),
    severity="warning",
    find=find,
    needs_prover=True,
)
