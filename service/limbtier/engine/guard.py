"""Checks every decision against the guard rails at run time; one that breaks a guard rail is not given.

A cap on the tier binds whenever its condition is not false: what was not asked cannot raise the tier. A
demand for a disposition, a review or an arrangement binds when its condition holds.
"""

from __future__ import annotations

from datetime import date
from itertools import compress

from limbtier.domain.decision import LimbDecision
from limbtier.domain.rule import GuardRail, Requirement
from limbtier.engine.due_dates import Days
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import GuardRailBroken


def broken_guard_rails(prepared: PreparedEdition, decision: LimbDecision, days: Days) -> list[str]:
    """Ids of the guard rails that the decision breaks. Guard rails that compare two decisions cannot be
    read off one; they are tested and proved over all assessments instead."""
    broken: list[str] = []
    states = prepared.guards.read(prepared.as_guarded(decision.trace.facts))[0]
    rank = prepared.ranks[decision.tier]
    review_days = (decision.review.due_on - days.today).days
    # A check that does not apply has the state 0, which `compress` leaves out.
    for check, state in compress(zip(prepared.guard_checks, states, strict=True), states):
        if decision.disposition not in check.dispositions or decision.tier not in check.tiers:
            continue
        too_high = check.highest is not None and rank > check.highest
        too_late = state == APPLIES and check.review_days is not None and review_days > check.review_days
        if too_high or too_late or not _holds(prepared, check.require, state, decision, days):
            broken.append(check.rail)
    return list(dict.fromkeys(broken))


def refuse_broken(prepared: PreparedEdition, decision: LimbDecision, days: Days) -> None:
    """Raise GuardRailBroken, naming every guard rail that the decision would break."""
    broken = broken_guard_rails(prepared, decision, days)
    if broken:
        rails = {rail.id: rail for rail in prepared.guard_rails.rails}
        raise GuardRailBroken([_diagnostic(rails[name], decision) for name in broken])


def _diagnostic(rail: GuardRail, decision: LimbDecision) -> Diagnostic:
    return Diagnostic(
        "guard-rail-broken",
        f"The decision for the {decision.side} leg would break `{rail.id}`: {rail.statement}",
        "Give no tier from it: decide by local policy, and report this fault of rule files or service.",
    )


def _holds(
    prepared: PreparedEdition, require: Requirement, state: int, decision: LimbDecision, days: Days
) -> bool:
    """Whether all is met that is required beside the tier and the review."""
    if require.no_avoided_material and {m.name for m in decision.chosen} & {m.name for m in decision.avoided}:
        return False
    if require.safety_net and not prepared.edition.wording.safety_net:
        return False
    if state != APPLIES:
        return True
    if require.disposition is not None and decision.disposition != require.disposition:
        return False
    if require.arranged is None:
        return True
    within = prepared.edition.interval(require.arranged.within, days.today)
    latest_due = days.due(days.counted(within))
    return any(
        _arranged_by(entry.due_on, latest_due)
        for entry in decision.arrangements
        if entry.what == require.arranged.what
    )


def _arranged_by(due_on: date | None, latest: date) -> bool:
    return due_on is not None and due_on <= latest
