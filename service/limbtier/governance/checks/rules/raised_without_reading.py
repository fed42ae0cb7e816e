"""A rule that lets a tier rise and rests on no source that anybody has read."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.domain.rule import Rule
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.context import Context

ADVICE: Final = "Read a source for it and name that, or suppress the finding and say who answers for it."


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Proposals, and limits of the base raised or taken away, none of whose sources was read."""
    before = {
        change.name: change.before
        for change in edition.changes
        if change.part == "rule" and isinstance(change.before, Rule)
    }
    for rule in edition.rules:
        if any(edition.sources[source].basis == "seen" for source in rule.sources):
            continue
        if rule.then.propose is not None:
            message = f"The rule proposes `{rule.then.propose}`, and none of its sources has been read."
            yield about_rule(rule, message, ADVICE)
        elif rule.id in before and (raised := _raised(edition, before[rule.id], rule)):
            message = f"{raised} than in the base, and none of the rule's sources has been read."
            yield about_rule(rule, message, ADVICE)


def _raised(edition: Edition, before: Rule, after: Rule) -> str | None:
    """In which way a rule holds a leg less than the one that it replaces."""
    if before.then.limit is None:
        return None
    if after.then.limit is None:
        return f"The rule no longer limits to `{before.then.limit.tier}`, so that a leg goes higher"
    if edition.rank(after.then.limit.tier) > edition.rank(before.then.limit.tier):
        return f"The rule limits to `{after.then.limit.tier}`, higher"
    return None


CHECK: Final = Check(
    id="raised-without-reading",
    title="More compression on no source that was read",
    explanation=Explanation(
        finds="A rule that proposes a tier, or that replaces a rule of the base by one with a higher "
        "limit or none, and whose sources are all from memory or practice.",
        why="A limit from memory can only be too careful. A proposal from memory can be too strong, and "
        "a leg is hurt.",
        mend="Read a source for it, and name it. Where practice alone stands behind it on purpose, "
        "suppress the finding and name the role that answers for it.",
        example="`propose: strong` with `sources: [common-practice]`.",
    ),
    severity="warning",
    find=find,
)
