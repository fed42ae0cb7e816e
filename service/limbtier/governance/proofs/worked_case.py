"""A decision of the engine as the text of a worked case, to be settled by the governance team."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

from limbtier.domain.edition import Edition
from limbtier.governance.proofs.replay import Replayed

BROKEN: Final = (
    "`expect` holds what this edition decides now, which breaks the property named in `story`.",
    "Write there what must come out, then correct the rules until the case is met.",
)
DECIDED_NOW: Final = ("`expect` holds what this edition decides. Keep the case only if that is meant.",)


def worked_case(edition: Edition, name: str, story: str, advice: Sequence[str], replayed: Replayed) -> str:
    """YAML that can stand as a file in `cases/`. It expects what the edition decides now; `advice` tells
    whoever takes it in what to make of that."""
    request, decision = replayed.request, replayed.decision
    limb = request["limbs"][decision.side]
    lines = [
        "# Invented answers, found by the prover; no answer comes from a real assessment.",
        *(f"# {line}" for line in advice),
        "cases:",
        f"  - id: {_identifier(name)}",
        f"    story: {_quoted('Found by the prover. ' + story)}",
        f"    assessed_at: {request['assessed_at']}",
        f"    calendar: {request['calendar']}",
        *_answers(edition, "person", request["person"]),
        *_answers(edition, "limb", limb),
        "    expect:",
        f"      disposition: {decision.disposition}",
        f"      tier: {decision.tier}",
        f"      target_tier: {decision.target_tier}",
        f"      highest_possible_tier: {decision.highest_possible_tier}",
        f"      review_due_on: {decision.review.due_on.isoformat()}",
    ]
    return "\n".join(lines) + "\n"


def _identifier(text: str) -> str:
    kept = "".join(letter if letter.isalnum() else "-" for letter in text.lower())
    return "proof-" + "-".join(part for part in kept.split("-") if part)


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _answers(edition: Edition, scope: str, answers: Mapping[str, Any]) -> list[str]:
    if not answers:
        return []
    inputs = edition.vocabulary.inputs
    return [
        f"    {scope}:",
        *(f"      {name}: {_written(inputs[name].kind, value)}" for name, value in answers.items()),
    ]


def _written(kind: str, value: Any) -> str:
    match value:
        case bool():
            return "yes" if value else "no"
        case list():
            return "[" + ", ".join(str(one) for one in value) + "]"
        case int() | Decimal():
            return str(value)
    # A choice such as "1" is a text, and so written in quotes.
    return _quoted(value) if kind == "choice" and not value[:1].isalpha() else str(value)
