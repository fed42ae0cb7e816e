"""A reason whose figures are not those of its rule."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Final

from limbtier.domain.condition import EdgeTest, tests
from limbtier.domain.edition import Edition
from limbtier.domain.interval import Interval
from limbtier.domain.rule import Rule
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.condition_words import number_words
from limbtier.governance.checks.context import Context

_FIGURE: Final = re.compile(r"(?<![\w.,-])[0-9]+(?:\.[0-9]+)?(?![\w.,]*\w)")


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Title and reason name figures and none of the rule's own; or an edge that the rule had in the base."""
    before = {
        change.name: change.before
        for change in edition.changes
        if change.part == "rule" and isinstance(change.before, Rule)
    }
    for rule in edition.rules:
        told = set(_figures(f"{rule.title} {rule.because}"))
        tested = set(_edges(rule))
        if not told or not tested:
            continue
        own = tested | set(_intervals(edition, rule, context))
        if not told & own:
            message = f"The reason names {_list(told)}; the rule tests {_list(tested)}."
            yield about_rule(rule, message, "Let the reason name the figures that the rule goes by.")
        elif rule.id in before and (old := (set(_edges(before[rule.id])) - own) & told):
            message = (
                f"The reason still names {_list(old)}, which the rule tested in the base and tests no more."
            )
            yield about_rule(rule, message, "Write the figures of the rule as it is now.")


def _figures(text: str) -> Iterator[Fraction]:
    return (Fraction(figure) for figure in _FIGURE.findall(text))


def _edges(rule: Rule) -> Iterator[Fraction]:
    for test in tests(rule.when):
        if isinstance(test, EdgeTest):
            edges = (test.at_least, test.above, test.at_most, test.below)
            yield from (abs(edge) for edge in edges if edge is not None)


def _intervals(edition: Edition, rule: Rule, context: Context) -> Iterator[Fraction]:
    within = [one.within for one in rule.then.arrange]
    if rule.then.review is not None:
        within.append(rule.then.review)
    for one in within:
        interval: Interval = edition.interval(one, context.day)
        yield Fraction(interval.amount)


def _list(numbers: Iterable[Fraction]) -> str:
    return ", ".join(number_words(number) for number in sorted(numbers))


CHECK: Final = Check(
    id="figures-differ",
    title="A reason with other figures than its rule",
    explanation=Explanation(
        finds="A rule that tests edges, and whose title and reason name figures, none of which is an edge "
        "or an interval of the rule. In an edition based on another also: a figure of the replaced "
        "rule that is still in the reason and no longer in the rule.",
        why="The edge was changed and the reason was not. The nurse reads one number, and the rule goes "
        "by another.",
        mend="Write the reason anew with the figures of the rule.",
        example="`abpi: {below: 0.5}` because `a ratio below 0.6 rules compression out`.",
    ),
    severity="warning",
    find=find,
)
