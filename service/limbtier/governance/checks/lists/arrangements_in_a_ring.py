"""Arrangements that are each to come before the other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.domain.rule import Rule
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Arrangements that come after themselves by what `before` says in all rules together, each ring once."""
    after: dict[str, dict[str, Rule]] = {}
    for rule in edition.rules:
        for arrange in rule.then.arrange:
            for later in arrange.before:
                after.setdefault(arrange.what, {}).setdefault(later, rule)
    told: set[frozenset[str]] = set()
    for start in after:
        ring = _ring(start, after)
        if ring and frozenset(ring) not in told:
            told.add(frozenset(ring))
            words = " comes before ".join(f"`{what}`" for what in (*ring, ring[0]))
            rule = after[ring[0]][ring[1] if len(ring) > 1 else ring[0]]
            yield about_rule(rule, f"{words}.", "Take one `before` out, so that something comes first.")


def _ring(start: str, after: Mapping[str, Mapping[str, Rule]]) -> tuple[str, ...]:
    """The shortest way from an arrangement back to itself; empty where there is none."""
    ways: list[tuple[str, ...]] = [(start,)]
    seen: set[str] = set()
    while ways:
        way = ways.pop(0)
        for later in after.get(way[-1], ()):
            if later == start:
                return way
            if later not in seen:
                seen.add(later)
                ways.append((*way, later))
    return ()


CHECK: Final = Check(
    id="arrangements-in-a-ring",
    title="Arrangements that wait for one another",
    explanation=Explanation(
        finds="Arrangements that come before themselves when the `before` of all rules are taken together.",
        why="Each waits for the other, so neither may be begun.",
        mend="Decide which comes first, and take the other `before` out.",
        example="One rule lets `dvt_pathway` come before `arterial_test`, another the reverse.",
    ),
    severity="error",
    find=find,
)
