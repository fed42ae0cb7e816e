"""The step-up plan: from the tier given to the target, what lifts each limit on the way, and by when.

It permits nothing: each step is a new decision.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from fractions import Fraction
from typing import NamedTuple

from limbtier.domain.assessment import Answer
from limbtier.domain.decision import Lifting, Step
from limbtier.engine.interpreter import DOES_NOT_APPLY, UNDETERMINED
from limbtier.engine.prepared import Counting, PreparedEdition
from limbtier.engine.tiers import TierRange

ANSWER = "answer"
GOOD_REVIEW = "good_review"
# What is supposed of a leg that has done well at a tier; only limits for a good review are read with it.
_DONE_WELL: Mapping[str, Answer] = {
    "tolerance": "good",
    "progress": "better",
    "days_at_current_tier": Fraction(1),
}


class HeldLimit(NamedTuple):
    """A limit below the target that something can lift."""

    rule: str
    rank: int
    lift: str
    by: date


def held_limits(
    prepared: PreparedEdition,
    counting: Counting,
    tiers: TierRange,
    today: date,
    review_on: date,
    deadlines: Mapping[str, date],
) -> list[HeldLimit]:
    """Limits below the target that are undetermined, or apply and carry `until`. `deadlines` gives for a
    rule the day by which what it arranges is due. A proposal that only an answer can settle is held too,
    at the highest tier that is surely proposed."""
    held: list[HeldLimit] = []
    limits, target = prepared.limits, tiers.target
    for place, state in counting.items():
        rank = limits[place]
        if not 0 <= rank < target:
            continue
        rule = prepared.edition.rules[place]
        until = rule.then.limit.until if rule.then.limit is not None else None
        if state == UNDETERMINED:
            held.append(HeldLimit(rule.id, rank, ANSWER, today))
        elif until == GOOD_REVIEW:
            held.append(HeldLimit(rule.id, rank, until, review_on))
        elif until is not None:
            held.append(HeldLimit(rule.id, rank, until, deadlines.get(rule.id, review_on)))
    surely = max(tiers.surely_proposed, 0)
    if surely < tiers.target:
        held += [
            HeldLimit(prepared.edition.rules[place].id, surely, ANSWER, today)
            for place, state in counting.items()
            if state == UNDETERMINED and prepared.proposes[place] > surely
        ]
    return held


def step_up_plan(
    prepared: PreparedEdition,
    facts: Mapping[str, Answer],
    tiers: TierRange,
    held: Sequence[HeldLimit],
    review_on: date,
) -> tuple[Step, ...]:
    """Steps from the tier given to the target; empty exactly when the tier is the target."""
    steps: list[Step] = []
    waiting = list(held)
    names, level, target = prepared.tier_names, tiers.given, tiers.target
    if level == target:
        return ()
    supposed: dict[str, Answer] = {name: facts[name] for name in prepared.step_names if name in facts}
    supposed.update(_DONE_WELL)
    while level < target:
        supposed["current_tier"] = names[level]
        again = _limits_of(prepared, supposed, target, review_on)
        if again:
            rules_again = {limit.rule for limit in again}
            waiting = [limit for limit in waiting if limit.rule not in rules_again]
            waiting += [limit for limit in again if limit.rank <= level]
        lifts = {limit.lift for limit in waiting if limit.rank <= level}
        lifted = [limit for limit in waiting if limit.lift in lifts]
        waiting = [limit for limit in waiting if limit.lift not in lifts]
        waiting += [limit for limit in again if limit.rank > level]
        reached = min([target, *[limit.rank for limit in waiting]])
        if reached <= level:
            raise AssertionError("a step-up plan must rise: nothing lifts what holds the leg")
        liftings = tuple([Lifting(limit.rule, names[limit.rank], limit.lift, limit.by) for limit in lifted])
        steps.append(Step(names[level], names[reached], liftings))
        level = reached
    return tuple(steps)


def _limits_of(
    prepared: PreparedEdition, supposed: Mapping[str, Answer], target: int, review_on: date
) -> list[HeldLimit]:
    """Limits on the current tier that will hold the leg once it has done well there; what an unanswered
    question leaves open counts."""
    states = prepared.read_step_limits(supposed)[0]
    return [
        HeldLimit(prepared.rule_ids[place], prepared.limits[place], GOOD_REVIEW, review_on)
        for place, state in zip(prepared.step_limits, states, strict=False)
        if state != DOES_NOT_APPLY and prepared.limits[place] < target
    ]
