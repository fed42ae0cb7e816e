"""A limit at the highest tier, or a proposal of the lowest."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Limits to the highest tier and proposals of the lowest: neither moves any tier."""
    lowest, highest = edition.tiers[0].name, edition.tiers[-1].name
    for rule in edition.rules:
        if rule.then.limit is not None and rule.then.limit.tier == highest:
            message = f"A limit to `{highest}` holds nothing down: it is the highest tier."
            yield about_rule(
                rule, message, "Name the tier that the leg must not go above, or take the limit out."
            )
        if rule.then.propose == lowest:
            message = f"Proposing `{lowest}` raises nothing: it is the lowest tier."
            yield about_rule(
                rule, message, f"To hold a leg at `{lowest}`, write `limit: {{tier: {lowest}}}`."
            )


CHECK: Final = Check(
    id="limit-limits-nothing",
    title="A limit or a proposal that moves nothing",
    explanation=Explanation(
        finds="A limit to the highest tier, or a proposal of the lowest.",
        why="A proposal says how high a leg may be treated, a limit how low it must stay. Exchanged, "
        "both do nothing.",
        mend="Write `limit` to hold a leg down and `propose` to say what it is treated with.",
        example="`propose: withhold` for a graft that must not be compressed: it withholds nothing.",
    ),
    severity="error",
    find=find,
)
