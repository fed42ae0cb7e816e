"""A tier for which no rule chooses anything to put on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition, MaterialKind
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context

# What holds a leg by itself; padding and paste go under it.
HOLDING: Final[tuple[MaterialKind, ...]] = ("bandage", "wrap", "hosiery")


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Tiers above withholding for which no rule chooses a bandage, a wrap or hosiery."""
    chosen = {name for rule in edition.rules for name in rule.then.choose}
    serving = {
        tier
        for name in chosen
        if edition.materials[name].kind in HOLDING
        for tier in edition.materials[name].tiers
    }
    for tier in edition.tiers[1:]:
        if tier.name not in serving:
            message = f"No rule chooses a bandage, a wrap or hosiery that serves the tier `{tier.name}`."
            yield Finding("tier", tier.name, message, "Choose one in a rule, or name the tier in a material.")


CHECK: Final = Check(
    id="tier-without-material",
    title="A tier with nothing to put on",
    explanation=Explanation(
        finds="A tier above withholding that no bandage, wrap or hosiery chosen by any rule serves.",
        why="The decision says how strongly to compress and leaves the nurse to find out with what.",
        mend="Choose such a material in a rule, and name the tier among those that the material serves.",
        example="The light bandages are taken out, and nothing that is left serves `mild`.",
    ),
    severity="error",
    find=find,
)
