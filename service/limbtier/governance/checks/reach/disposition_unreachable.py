"""A disposition that no assessment comes to."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.reach.told import unless


def find(_edition: Edition, context: Context) -> Iterable[Finding]:
    """Dispositions that come out of no assessment."""
    for name in DISPOSITIONS:
        message = f"No assessment comes to the disposition `{name}`."
        advice = "Look at what proposes tiers, and at the limits."
        told = context.prover.disposition_can_come_out(name)
        if finding := unless(told, "disposition", name, message, advice):
            yield finding


CHECK: Final = Check(
    id="disposition-unreachable",
    title="A disposition that never comes out",
    explanation=Explanation(
        finds="A disposition (start, continue, step up, step down, stop and escalate, not indicated, "
        "cannot decide yet) that comes out of no assessment.",
        why="For instance nobody is ever told to step up: people stay on a gentle start.",
        mend="Find the limit or the missing proposal that keeps it out.",
        example="Every limit at mild has no `until` and tests nothing that changes, so that nothing steps "
        "up.Every limit at mild has no `until` and tests nothing that changes, so that nothing "
        "steps up.",
    ),
    severity="error",
    find=find,
    needs_prover=True,
)
