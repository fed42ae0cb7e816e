"""Editions changed in memory, and what a check then finds that it does not find in the core edition."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.edition import Change, Edition, WorkedCase
from limbtier.domain.interval import Interval
from limbtier.domain.rule import Arrange, Conclusions, Rule
from limbtier.governance.checks.check import Check
from limbtier.governance.checks.context import Context

DAYS_7 = Interval("days", 7)


def is_(name: str, *values: str) -> ValueTest:
    """The fact is one of these values."""
    return ValueTest(name, values)


def edges(name: str, **written: str) -> EdgeTest:
    """The number lies within edges, written as in a rule file."""
    return EdgeTest(name, **{key: Fraction(edge) for key, edge in written.items()})


def all_of(*parts: Condition) -> AllOf:
    return AllOf(parts)


def any_of(*parts: Condition) -> AnyOf:
    return AnyOf(parts)


def none_of(*parts: Condition) -> NoneOf:
    return NoneOf(parts)


def rule_of(edition: Edition, rule_id: str) -> Rule:
    return next(rule for rule in edition.rules if rule.id == rule_id)


def with_rule(edition: Edition, rule_id: str, **changes: Any) -> Edition:
    """The edition with parts of one rule changed."""
    return replace(
        edition,
        rules=tuple(replace(rule, **changes) if rule.id == rule_id else rule for rule in edition.rules),
    )


def with_then(edition: Edition, rule_id: str, **changes: Any) -> Edition:
    """The edition with some conclusions of one rule changed."""
    return with_rule(edition, rule_id, then=replace(rule_of(edition, rule_id).then, **changes))


def without_rule(edition: Edition, *rule_ids: str) -> Edition:
    kept = [place for place, rule in enumerate(edition.rules) if rule.id not in rule_ids]
    return replace(
        edition,
        rules=tuple(edition.rules[place] for place in kept),
        strata=tuple(edition.strata[place] for place in kept),
    )


def and_rule(
    edition: Edition,
    when: Condition,
    then: Conclusions,
    *,
    rule_id: str = "made-up",
    title: str = "A rule made up for a test",
    because: str = "It was made up for a test, and shows what a check finds.",
    sources: tuple[str, ...] = ("sign-120",),
) -> Edition:
    """The edition with one more rule, which stands last."""
    rule = Rule(
        rule_id, title, when, then, because, sources, "Made up", "core/2026.1.0/rules/made_up.yaml", 7
    )
    return replace(edition, rules=(*edition.rules, rule), strata=(*edition.strata, max(edition.strata)))


def with_input(edition: Edition, name: str, like: str | None = None, **changes: Any) -> Edition:
    """The edition with an input changed, or with a new one made like another."""
    entry = replace(edition.vocabulary.inputs[like or name], name=name, **changes)
    inputs = {**edition.vocabulary.inputs, name: entry}
    return replace(edition, vocabulary=replace(edition.vocabulary, inputs=inputs))


def with_case(edition: Edition, case: WorkedCase) -> Edition:
    return replace(edition, cases=(*edition.cases, case))


def changed(edition: Edition, part: Any, act: Any, name: str, **parts: Any) -> Edition:
    """The edition with a change of its base noted."""
    told = {"reason": "Made up for a test of the checks.", "decided_by": "a role", "before": None, **parts}
    change = Change(part, act, name, file="core/2026.1.0/rules/made_up.yaml", line=7, column=3, **told)
    return replace(edition, changes=(*edition.changes, change))


def arrange(what: str, within: Interval = DAYS_7, *before: str) -> Arrange:
    return Arrange(what, within, before)


Found = tuple[str, str, str]


def found(check: Check, edition: Edition, context: Context) -> set[Found]:
    """Part, name and message of everything that a check finds."""
    return {(one.part, one.name, one.message) for one in check.find(edition, context)}
