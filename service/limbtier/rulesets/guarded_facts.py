"""Facts that guard rails read: an edition that is based on another must leave them their meaning."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.edition import Change, Edition
from limbtier.domain.rule import GuardRail, Rule
from limbtier.rulesets.findings import Findings, Place

# Whether a guard rail binds more assessments the more often the fact is `yes`, or fewer.
MORE: Final = 1
FEWER: Final = -1


def refuse_redefined_facts(rails: Sequence[GuardRail], edition: Edition, found: Findings) -> None:
    """Name every change that would let the guard rails bind less by what a fact means."""
    if not edition.changes:
        return
    guarded = _guarded(rails, edition)
    rules = {rule.id: rule for rule in edition.rules}
    for change in edition.changes:
        if change.part != "rule":
            continue
        before = change.before if isinstance(change.before, Rule) else None
        after = rules.get(change.name)
        kept = before is not None and after is not None and before.when == after.when
        for fact in sorted(guarded):
            was = before is not None and fact in before.then.classify
            now = after is not None and fact in after.then.classify
            if was and not (now and kept):
                message = f"The rule `{change.name}` classifies `{fact}`, which the guard rails read."
                advice = "Keep its `when` and its `classify`, or leave it as it is; add a rule beside it."
                found.add("guarded-fact-changed", _place(change), message, advice)
            elif now and not was and FEWER in guarded[fact]:
                message = f"The guard rails bind less where `{fact}` is `yes`."
                advice = "Let no further rule classify it; classify a fact of your own."
                found.add("guarded-fact-changed", _place(change), message, advice)


def _place(change: Change) -> Place:
    return Place(change.file, change.line, change.column)


def _guarded(rails: Sequence[GuardRail], edition: Edition) -> dict[str, set[int]]:
    """The facts that guard rails read, directly or through other facts, and which way each counts."""
    facts = edition.vocabulary.facts
    classifying: dict[str, list[Rule]] = {name: [] for name in facts}
    for rule in edition.rules:
        for name in rule.then.classify:
            classifying[name].append(rule)
    waiting = {
        pair
        for rail in rails
        for check in rail.checks
        for pair in _reads(check.when, MORE)
        if pair[0] in facts
    }
    guarded: dict[str, set[int]] = {}
    while waiting:
        name, way = waiting.pop()
        if way in guarded.setdefault(name, set()):
            continue
        guarded[name].add(way)
        for rule in classifying[name]:
            waiting |= {pair for pair in _reads(rule.when, way) if pair[0] in facts}
    return guarded


def _reads(condition: Condition, way: int) -> Iterator[tuple[str, int]]:
    """Every name of a condition with the way in which its being `yes` counts."""
    match condition:
        case ValueTest(name, values):
            if "yes" in values:
                yield name, way
            if "no" in values:
                yield name, -way
        case AllOf(parts) | AnyOf(parts):
            for part in parts:
                yield from _reads(part, way)
        case NoneOf(parts):
            for part in parts:
                yield from _reads(part, -way)
        case EdgeTest():
            return
