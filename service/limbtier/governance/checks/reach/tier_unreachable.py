"""A tier that no assessment comes to."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.reach.told import unless


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Tiers that are given to no assessment."""
    for tier in edition.tiers:
        message = f"No assessment comes to the tier `{tier.name}`."
        advice = "Look at what proposes tiers, and at the limits below this one."
        if finding := unless(context.prover.tier_can_be_given(tier.name), "tier", tier.name, message, advice):
            yield finding


CHECK: Final = Check(
    id="tier-unreachable",
    title="A tier that is never given",
    explanation=Explanation(
        finds="A tier that is given to no assessment, however it is answered.",
        why="A whole strength of treatment has been lost, mostly by one limit that is too wide.",
        mend="Find the limit that always counts, and narrow it.",
        example="A limit to moderate is written without a condition that can be false, and strong is never "
        "given.",
    ),
    severity="error",
    find=find,
    needs_prover=True,
)
