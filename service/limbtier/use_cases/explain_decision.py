"""Explains a stored decision: why not higher, why not lower, and what would have changed it.

Everything here is found by reading the record and by deciding again; it is an explanation of one decision,
never a decision, and no advice to answer differently.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from limbtier.domain.decision import LimbDecision
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.prepared import PreparedEdition
from limbtier.engine.tiers import tier_range
from limbtier.foundation.strict_json import read_json
from limbtier.use_cases.answer_changes import AnswerChange, Outcome, answer_changes, outcome_of
from limbtier.use_cases.answer_text import exact_text
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.stored_decision import open_decision
from limbtier.use_cases.trace_record import STATES


def explain(data: bytes, rules: ReadyRules) -> dict[str, Any]:
    """The explanation as a record. Raises EditionUnavailable, or as `engine.decide` when deciding again
    fails."""
    stored = open_decision(data, rules)
    request = read_json(stored.record["received"].encode())
    decision = stored.decide(stored.assessment())
    as_it_was = {side: outcome_of(limb) for side, limb in decision.limbs.items()}
    return {
        "decision": stored.record["id"],
        "edition": stored.record["edition"]["id"],
        "kind": "explanation",
        "limbs": {
            side: {
                "disposition": limb.disposition,
                "tier": limb.tier,
                "target_tier": limb.target_tier,
                "why_not_higher": _why_not_higher(stored.prepared, limb),
                "why_not_lower": _why_not_lower(stored.prepared, limb),
                "without_rule": _without_rule(stored.prepared, limb),
            }
            for side, limb in decision.limbs.items()
        },
        "answers": [_change(change, as_it_was) for change in answer_changes(stored, request)],
        "note": (
            "An explanation, found by deciding again with one answer or one rule changed at a time; not a "
            "decision, and no advice to answer differently. Changes of two answers at once are not searched."
        ),
        "caution": stored.record["caution"],
    }


def _why_not_higher(prepared: PreparedEdition, limb: LimbDecision) -> dict[str, Any]:
    """The limits at the tier given; where none holds the leg there, the goals that ask for no more."""
    rules = {rule.id: rule for rule in prepared.edition.rules}
    goals = _goals(prepared, limb)
    return {
        "held_by": [
            {
                "rule": held.rule,
                "title": rules[held.rule].title,
                "because": rules[held.rule].because,
                "state": STATES[1] if held.undetermined else STATES[2],
                "until": held.until,
            }
            for held in limb.limits
            if held.at_tier_given
        ],
        "goals": goals,
        "highest_possible_tier": limb.highest_possible_tier,
    }


def _why_not_lower(prepared: PreparedEdition, limb: LimbDecision) -> dict[str, Any]:
    """The goals that ask for the tier, and the lowest limit that counts: nothing asks for less."""
    return {
        "goals": _goals(prepared, limb),
        "lowest_limit": limb.limits[0].tier if limb.limits else None,
    }


def _goals(prepared: PreparedEdition, limb: LimbDecision) -> list[dict[str, Any]]:
    names = prepared.tier_names
    return [
        {
            "rule": rule.id,
            "title": rule.title,
            "tier": names[prepared.proposes[place]],
            "state": STATES[limb.trace.rules[place]],
        }
        for place, rule in enumerate(prepared.edition.rules)
        if prepared.proposes[place] >= 0 and limb.trace.rules[place]
    ]


def _without_rule(prepared: PreparedEdition, limb: LimbDecision) -> list[dict[str, Any]]:
    """For each rule that moves the tier or the target by itself: what they would be without it.

    Facts that the rule classifies are left as they are; only its own limit or proposal is taken away.
    """
    counting = {place: state for place, state in enumerate(limb.trace.rules) if state}
    names = prepared.tier_names
    found: list[dict[str, Any]] = []
    for place, state in counting.items():
        if prepared.limits[place] < 0 and (prepared.proposes[place] < 0 or state != APPLIES):
            continue
        tiers = tier_range(prepared, {other: kept for other, kept in counting.items() if other != place})
        tier, target = names[tiers.given], names[tiers.target]
        if (tier, target) != (limb.tier, limb.target_tier):
            found.append({"rule": prepared.edition.rules[place].id, "tier": tier, "target_tier": target})
    return found


_MEMBERS = ("disposition", "tier", "target_tier", "review_due_on")


def _change(change: AnswerChange, as_it_was: Mapping[Any, Outcome]) -> dict[str, Any]:
    return {
        "input": change.input,
        "limb": change.side,
        "given": _answer(change.given),
        "instead": _answer(change.instead),
        "no_longer_asked": change.no_longer_asked,
        "outcomes": {
            side: dict(zip(_MEMBERS, outcome, strict=True))
            for side, outcome in change.outcomes.items()
            if outcome != as_it_was[side]
        },
    }


def _answer(value: Any) -> str:
    """An answer as text, as records show answers."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None or isinstance(value, str):
        return exact_text(value)
    return ", ".join(str(item) for item in value) if isinstance(value, list) else str(value)
