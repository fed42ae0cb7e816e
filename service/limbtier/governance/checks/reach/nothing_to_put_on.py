"""A tier that is given with nothing that fits to put on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context, NotTold
from limbtier.governance.checks.reach.told import UNSETTLED_ADVICE


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Tiers above withholding given to a fully answered assessment where nothing that holds a leg fits."""
    for tier in edition.tiers[1:]:
        told = context.prover.tier_without_material(tier.name)
        if isinstance(told, NotTold):
            message = f"It could not be told whether something always fits at `{tier.name}` ({told.reason})."
            yield Finding("tier", tier.name, message, UNSETTLED_ADVICE)
        elif told:
            message = (
                f"Some assessment is given the tier `{tier.name}`, and no bandage, wrap or hosiery fits it."
            )
            advice = "Choose something for these legs, or avoid less."
            yield Finding("tier", tier.name, message, advice)


CHECK: Final = Check(
    id="nothing-to-put-on",
    title="A tier given with nothing that fits",
    explanation=Explanation(
        finds="A tier above withholding that is given to some assessment, every question answered, for "
        "which rules choose no bandage, wrap or hosiery, or avoid all that they choose.",
        why="The decision says how strongly to compress and leaves the nurse alone with it.",
        mend="Choose a material for these legs, or narrow what avoids it.",
        example="Every elastic material is avoided in reduced supply, and no rule chooses an inelastic one "
        "for it.",
    ),
    severity="warning",
    find=find,
    needs_prover=True,
)
