"""What conditions say by their structure alone: what each implies, what cannot hold, where edges stand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, Test, ValueTest, tests
from limbtier.domain.edition import Edition
from limbtier.domain.rule import Rule

EdgeKind = Literal["at_least", "above", "at_most", "below"]
LOWER: Final = ("at_least", "above")
UPPER: Final = ("at_most", "below")


def implies(one: Condition, other: Condition) -> bool:
    """Whether `other` holds wherever `one` does, as far as their structure shows it; if not, it may still."""
    if isinstance(one, AnyOf):
        return bool(one.parts) and all(implies(part, other) for part in one.parts)
    if isinstance(other, AllOf):
        return all(implies(one, part) for part in other.parts)
    if isinstance(other, AnyOf) and any(implies(one, part) for part in other.parts):
        return True
    if isinstance(one, AllOf):
        return any(implies(part, other) for part in one.parts)
    if isinstance(one, NoneOf):
        return isinstance(other, NoneOf) and all(
            any(implies(part, mine) for mine in one.parts) for part in other.parts
        )
    if isinstance(other, ValueTest | EdgeTest):
        return test_implies(one, other)
    return False


def test_implies(one: Test, other: Test) -> bool:
    """Whether a test holds wherever another of the same name does."""
    if one.name != other.name:
        return False
    if isinstance(one, ValueTest):
        return isinstance(other, ValueTest) and set(one.values) <= set(other.values)
    return isinstance(other, EdgeTest) and Span.of(one).within(Span.of(other))


@dataclass(frozen=True, slots=True)
class Span:
    """The numbers between two edges; None is open. `low_out` and `high_out` leave the edge itself out."""

    low: Fraction | None = None
    low_out: bool = False
    high: Fraction | None = None
    high_out: bool = False

    @classmethod
    def of(cls, test: EdgeTest) -> Span:
        """The numbers that meet a test."""
        low = test.at_least if test.above is None else test.above
        high = test.at_most if test.below is None else test.below
        return cls(low, test.above is not None, high, test.below is not None)

    def meet(self, other: Span) -> Span:
        """The numbers that are in both."""
        low, low_out = _stricter((self.low, self.low_out), (other.low, other.low_out), lowest=False)
        high, high_out = _stricter((self.high, self.high_out), (other.high, other.high_out), lowest=True)
        return Span(low, low_out, high, high_out)

    @property
    def empty(self) -> bool:
        """Whether no number is in it."""
        if self.low is None or self.high is None:
            return False
        return self.low > self.high or (self.low == self.high and (self.low_out or self.high_out))

    def within(self, other: Span) -> bool:
        """Whether every number of it is in the other."""
        return self.meet(other) == self


def _stricter(
    one: tuple[Fraction | None, bool], other: tuple[Fraction | None, bool], *, lowest: bool
) -> tuple[Fraction | None, bool]:
    if one[0] is None or other[0] is None:
        return other if one[0] is None else one
    if one[0] == other[0]:
        return one[0], one[1] or other[1]
    return min(one, other) if lowest else max(one, other)


# For a name the values that it may still have, and the span in which its number may still lie.
Narrowed = Mapping[str, tuple[frozenset[str] | None, Span | None]]


def narrowed(edition: Edition, condition: Condition, before: Narrowed) -> Narrowed | None:
    """What is left of each name where the condition holds too; None where nothing is left of one of them.

    Alternatives and `none_of` are not looked into. A test that holds means that its question was asked.
    """
    if isinstance(condition, AllOf):
        found: Narrowed | None = before
        for part in condition.parts:
            found = narrowed(edition, part, found) if found is not None else None
        return found
    if isinstance(condition, AnyOf | NoneOf):
        return before
    values, span = before.get(condition.name, (None, None))
    if isinstance(condition, ValueTest):
        if span is not None:
            return None
        wanted = frozenset(condition.values)
        left = wanted if values is None else wanted & values
        if not left:
            return None
        after = {**before, condition.name: (left, None)}
    else:
        if values is not None:
            return None
        meet = Span.of(condition) if span is None else span.meet(Span.of(condition))
        if meet.empty:
            return None
        after = {**before, condition.name: (None, meet)}
    asked = edition.vocabulary.inputs.get(condition.name)
    if asked is None or asked.asked_when is None or condition.name in before:
        return after
    return narrowed(edition, asked.asked_when, after)


def branches(condition: Condition) -> Iterator[tuple[tuple[Condition, ...], Condition]]:
    """Every alternative of the tree, each with what must hold beside it."""
    yield from _branches(condition, ())


def _branches(
    condition: Condition, beside: tuple[Condition, ...]
) -> Iterator[tuple[tuple[Condition, ...], Condition]]:
    match condition:
        case AllOf(parts):
            for place, part in enumerate(parts):
                yield from _branches(part, (*beside, *parts[:place], *parts[place + 1 :]))
        case AnyOf(parts):
            for part in parts:
                yield beside, part
                yield from _branches(part, beside)
        case _:
            return


def same_meaning_key(condition: Condition) -> object:
    """The same for two conditions that differ only in the order of their parts and values."""
    match condition:
        case ValueTest(name, values):
            return "is", name, frozenset(values)
        case EdgeTest(name):
            return "edges", name, Span.of(condition)
        case AllOf(parts) | AnyOf(parts) | NoneOf(parts):
            if len(parts) == 1 and not isinstance(condition, NoneOf):
                return same_meaning_key(parts[0])
            return type(condition).__name__, frozenset(same_meaning_key(part) for part in parts)


@dataclass(frozen=True, slots=True)
class Edge:
    """One edge that a rule compares a number with."""

    name: str
    kind: EdgeKind
    at: Fraction
    rule: Rule


def edges_of(rules: Iterable[Rule]) -> Iterator[Edge]:
    """Every edge of every rule, in the order written."""
    for rule in rules:
        for test in tests(rule.when):
            if isinstance(test, EdgeTest):
                yield from edges_of_test(test, rule)


def edges_of_test(test: EdgeTest, rule: Rule) -> Iterator[Edge]:
    """The edges of one test, the lower first."""
    if test.at_least is not None:
        yield Edge(test.name, "at_least", test.at_least, rule)
    if test.above is not None:
        yield Edge(test.name, "above", test.above, rule)
    if test.at_most is not None:
        yield Edge(test.name, "at_most", test.at_most, rule)
    if test.below is not None:
        yield Edge(test.name, "below", test.below, rule)
