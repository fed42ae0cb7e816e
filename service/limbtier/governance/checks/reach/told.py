"""What a check says of an answer of the prover; one that is not settled never counts as good."""

from __future__ import annotations

from limbtier.governance.checks.check import Finding
from limbtier.governance.checks.context import NotTold, Told
from limbtier.rulesets.read_checks import FoundPart

UNSETTLED_ADVICE = "Make the conditions that it reads simpler, or add a worked case that shows it."


def unless(told: Told, part: FoundPart, name: str, message: str, advice: str) -> Finding | None:
    """None where it holds for some assessment; else the finding, or that it could not be told."""
    match told:
        case True:
            return None
        case NotTold(reason):
            return Finding(
                part, name, f"It could not be told whether so: {message} ({reason})", UNSETTLED_ADVICE
            )
        case _:
            return Finding(part, name, message, advice)
