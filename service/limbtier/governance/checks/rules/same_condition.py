"""Two rules with the same condition that conclude the same sort of thing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.domain.rule import Rule
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.conditions import same_meaning_key
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Pairs of rules that test the same and both limit, propose, set a review or arrange the same thing."""
    earlier: dict[object, list[Rule]] = {}
    for rule in edition.rules:
        same = earlier.setdefault(same_meaning_key(rule.when), [])
        for other in same:
            if shared := list(_shared(rule, other)):
                message = f"The rule tests the same as `{other.id}`, and both {' and '.join(shared)}."
                advice = "Keep it in one of the two; the stricter one counts anyway."
                yield about_rule(rule, message, advice)
        same.append(rule)


def _shared(one: Rule, other: Rule) -> Iterator[str]:
    if one.then.limit and other.then.limit:
        yield "limit the tier"
    if one.then.propose and other.then.propose:
        yield "propose a tier"
    if one.then.review and other.then.review:
        yield "set a review"
    for what in sorted({one.what for one in one.then.arrange} & {two.what for two in other.then.arrange}):
        yield f"arrange `{what}`"
    for fact in sorted(set(one.then.classify) & set(other.then.classify)):
        yield f"classify `{fact}`"


CHECK: Final = Check(
    id="same-condition",
    title="Two rules that test the same and conclude the same sort of thing",
    explanation=Explanation(
        finds="Two rules whose conditions are the same but for the order of their parts, and that both "
        "limit, propose, set a review, arrange the same thing or classify the same fact.",
        why="Only the stricter one counts. Whoever changes the other later believes that something has "
        "changed.",
        mend="Keep the conclusion in one of the two rules.",
        example="Two rules test `abpi: {at_least: 0.6, below: 0.8}`; one limits to moderate, one to support.",
    ),
    severity="error",
    find=find,
)
