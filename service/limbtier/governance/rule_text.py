"""A rule as rule files write it, to be copied and changed."""

from __future__ import annotations

import json
from collections.abc import Iterator

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.interval import Interval, Within
from limbtier.domain.rule import Rule
from limbtier.governance.sentences import number_text


def rule_lines(rule: Rule, because: str | None = None) -> tuple[str, ...]:
    """The lines of a rule as an entry of a list, without `reason` and `decided_by`; `because` takes the place
    of its own where it is given."""
    return (
        f"  - id: {rule.id}",
        f"    title: {quoted(rule.title)}",
        "    when:",
        *(f"      {line}" for line in _condition(rule.when)),
        "    then:",
        *(f"      {line}" for line in _conclusions(rule)),
        f"    because: {quoted(because if because is not None else rule.because)}",
        f"    sources: [{', '.join(rule.sources)}]",
    )


def quoted(text: str) -> str:
    """A text in double quotes, in which nothing is read as a mark."""
    return json.dumps(text, ensure_ascii=False)


def _condition(condition: Condition) -> Iterator[str]:
    """The lines of a mapping of tests."""
    parts = condition.parts if isinstance(condition, AllOf) else (condition,)
    for part in parts:
        match part:
            case AnyOf(others) | NoneOf(others):
                yield "any_of:" if isinstance(part, AnyOf) else "none_of:"
                for other in others:
                    first, *more = _condition(other)
                    yield f"  - {first}"
                    yield from (f"    {line}" for line in more)
            case AllOf():
                yield from _condition(part)
            case ValueTest() | EdgeTest():
                yield _test(part)


def _test(test: ValueTest | EdgeTest) -> str:
    if isinstance(test, ValueTest):
        written = test.values[0] if len(test.values) == 1 else f"[{', '.join(test.values)}]"
        return f"{test.name}: {written}"
    edges = {"at_least": test.at_least, "above": test.above, "at_most": test.at_most, "below": test.below}
    shown = (f"{key}: {number_text(edge)}" for key, edge in edges.items() if edge is not None)
    return f"{test.name}: {{{', '.join(shown)}}}"


def _conclusions(rule: Rule) -> Iterator[str]:
    then = rule.then
    if then.propose:
        yield f"propose: {then.propose}"
    if then.limit:
        until = f", until: {then.limit.until}" if then.limit.until else ""
        yield f"limit: {{tier: {then.limit.tier}{until}}}"
    if then.review:
        yield f"review: {{within: {_within(then.review)}}}"
    if then.arrange:
        yield "arrange:"
        for entry in then.arrange:
            before = f", before: [{', '.join(entry.before)}]" if entry.before else ""
            yield f"  - {{what: {entry.what}, within: {_within(entry.within)}{before}}}"
    for key in ("classify", "choose", "avoid"):
        if names := getattr(then, key):
            yield f"{key}: [{', '.join(names)}]"
    for key in ("caution", "instruct"):
        if sentences := getattr(then, key):
            yield f"{key}:"
            yield from (f"  - {quoted(sentence)}" for sentence in sentences)
    for key in ("instruct_at", "instruct_with"):
        if names := getattr(then, key):
            yield f"{key}: [{', '.join(names)}]"


def _within(within: Within) -> str:
    return str(within) if isinstance(within, Interval) else f"{{setting: {within.setting}}}"
