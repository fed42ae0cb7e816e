"""A material that no rule chooses."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Materials that no rule chooses, or that serve no tier at which anything is put on."""
    chosen = {name for rule in edition.rules for name in rule.then.choose}
    put_on = {tier.name for tier in edition.tiers if tier.name != edition.tiers[0].name}
    for name, material in edition.materials.items():
        if name not in chosen:
            message = f"No rule chooses the material `{name}`."
            yield Finding("material", name, message, "Choose it in a rule, or take it out.")
        elif not put_on & set(material.tiers):
            message = f"The material `{name}` serves no tier at which anything is put on."
            yield Finding("material", name, message, "Name the tiers that it serves.")


CHECK: Final = Check(
    id="unused-material",
    title="A material that no rule chooses",
    explanation=Explanation(
        finds="A kind of material that no rule names under `choose`, or that serves no tier above "
        "withholding.A kind of material that no rule names under `choose`, or that serves no tier "
        "above withholding.",
        why="It can never be shown as fitting a leg, although the list says that it is there.",
        mend="Choose it in the rules for the legs that it fits, name its tiers, or take it out.",
        example="A local edition adds a second paste layer, and no rule chooses it.",
    ),
    severity="warning",
    find=find,
)
