"""A derived fact that rules classify and nothing reads."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.condition import names
from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Derived facts that no rule and no guard rail reads."""
    read: set[str] = set()
    for rule in edition.rules:
        read |= names(rule.when)
    for rail in context.guard_rails.rails:
        for guard_check in rail.checks:
            read |= names(guard_check.when)
    for name in edition.vocabulary.facts:
        if name not in read:
            message = f"The fact `{name}` is classified, and nothing reads it."
            yield Finding("fact", name, message, "Test it in a rule, or take it out with its `classify`.")


CHECK: Final = Check(
    id="unread-fact",
    title="A derived fact that nothing reads",
    explanation=Explanation(
        finds="A derived fact that rules classify, and that no rule and no guard rail tests.",
        why="Whoever wrote the rule believed that it held something back or let something through.",
        mend="Test the fact where it was meant to count, or take it out of the vocabulary and of the rules.",
        example="Rules classify `elevation_held`, and the rule that advises raising the leg does not test "
        "it.Rules classify `elevation_held`, and the rule that advises raising the leg does not "
        "test it.",
    ),
    severity="error",
    find=find,
)
