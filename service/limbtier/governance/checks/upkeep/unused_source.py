"""A source on which nothing rests."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Sources that neither a rule nor a setting names."""
    used = {source for rule in edition.rules for source in rule.sources}
    used |= {source for setting in edition.settings.values() for source in setting.sources}
    for name in edition.sources:
        if name not in used:
            message = f"No rule and no setting rests on the source `{name}`."
            yield Finding("source", name, message, "Name it where it was read for, or take it out.")


CHECK: Final = Check(
    id="unused-source",
    title="A source on which nothing rests",
    explanation=Explanation(
        finds="A source that no rule and no setting names.",
        why="It was read for a rule that does not name it, or that was never written.",
        mend="Name it in that rule, or take it out.",
        example="A guideline is added to `sources.yaml`, and the rule made from it says `sources: "
        "[common-practice]`.",
    ),
    severity="warning",
    find=find,
)
