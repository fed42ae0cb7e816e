"""The only form of a condition: a tree of tests on named facts, read in three values.

Facts are held by name in a mapping. A name that is absent was not recorded, and every test on it is
undetermined. `not_done` and `not_asked` are determined: `not_done` meets only a value test that names
it, and `not_asked` meets no test.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class ValueTest:
    """The fact is one of these values (flags are `yes` and `no`)."""

    name: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class EdgeTest:
    """The number lies within these edges, compared exactly; at most one lower and one upper edge."""

    name: str
    at_least: Fraction | None = None
    above: Fraction | None = None
    at_most: Fraction | None = None
    below: Fraction | None = None


@dataclass(frozen=True, slots=True)
class AllOf:
    """All parts hold; with no parts, it holds."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    """At least one part holds."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class NoneOf:
    """No part holds."""

    parts: tuple[Condition, ...]


Test = ValueTest | EdgeTest
Condition = ValueTest | EdgeTest | AllOf | AnyOf | NoneOf

ALWAYS = AllOf(())


def tests(condition: Condition) -> Iterator[Test]:
    """Every test of the tree, in the order written."""
    match condition:
        case ValueTest() | EdgeTest():
            yield condition
        case AllOf(parts) | AnyOf(parts) | NoneOf(parts):
            for part in parts:
                yield from tests(part)


def names(condition: Condition) -> frozenset[str]:
    """The names of all facts that the tree reads."""
    return frozenset(test.name for test in tests(condition))
