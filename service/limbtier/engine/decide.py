"""One assessment and one prepared edition in, one decision out: the only way a decision is made.

Each limb is decided on its own. The interpreter and the matcher must name the same rules for it, and
the result must break no guard rail; otherwise there is no answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from itertools import compress
from typing import Final

from limbtier.domain.assessment import SIDES, Answer, Assessment, Side
from limbtier.domain.decision import DISPOSITIONS, Decision, Held, LimbDecision, PersonDecision, Trace
from limbtier.engine.arrangements import arrangements, deadline_of_rule
from limbtier.engine.due_dates import Days, review
from limbtier.engine.guard import refuse_broken
from limbtier.engine.materials import materials
from limbtier.engine.prepared import Counting, PreparedEdition
from limbtier.engine.questions import questions
from limbtier.engine.step_up_plan import held_limits, step_up_plan
from limbtier.engine.tiers import disposition, tier_range
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import EnginesDisagree
from limbtier.measures.registry import compute_measures
from limbtier.measures.working_days import WorkingCalendar

SUPPORT: Final = 1
"""Rank of the lowest tier above withholding."""


def decide(
    prepared: PreparedEdition, assessment: Assessment, calendar: WorkingCalendar, decided_at: datetime
) -> Decision:
    """Decide every limb of the assessment and the person.

    Raises EnginesDisagree, GuardRailBroken, or CalendarRangeError when a date lies outside the calendar.
    """
    limbs: dict[Side, LimbDecision] = {
        side: decide_limb(prepared, side, assessment, calendar) for side in SIDES if side in assessment.limbs
    }
    return Decision(
        assessment=assessment,
        edition_id=prepared.edition.id,
        edition_digest=prepared.edition.digest,
        guard_rails_version=prepared.guard_rails.version,
        decided_at=decided_at,
        person=_person(limbs),
        limbs=limbs,
    )


def facts_of_limb(prepared: PreparedEdition, assessment: Assessment, side: Side) -> dict[str, Answer]:
    """The person's answers, the limb's answers, and the measures computed from both."""
    facts: dict[str, Answer] = {**assessment.person, **assessment.limbs[side]}
    facts.update(
        compute_measures(facts, assessment.assessed_on, prepared.periods.on(assessment.assessed_on).numbers)
    )
    return facts


def decide_limb(
    prepared: PreparedEdition, side: Side, assessment: Assessment, calendar: WorkingCalendar
) -> LimbDecision:
    """Decide one limb. Raises EnginesDisagree or GuardRailBroken."""
    facts = facts_of_limb(prepared, assessment, side)
    settings = prepared.periods.on(assessment.assessed_on)
    interval_cm = settings.numbers["girth_interval_cm"]
    states, tests, derived = prepared.rules.read(facts)
    facts.update(derived)
    second = prepared.matcher.match(facts)
    if second != states:
        raise EnginesDisagree([_disagreement(prepared, side, states, second)])
    first_contact = facts.get("first_contact_on")
    first_contact_on = first_contact if isinstance(first_contact, date) else None
    days = Days(assessment.assessed_on, calendar.as_of(assessment.assessed_on), first_contact_on, settings)
    counting = {place: states[place] for place in compress(prepared.places, states)}
    tiers = tier_range(prepared, counting)
    outcome = disposition(tiers, tier_now(prepared, facts), SUPPORT)
    look_again = review(prepared, counting, tiers, outcome, days)
    due = arrangements(prepared, counting, facts, tiers, outcome, days)
    names = prepared.tier_names
    limiting = {place: state for place, state in counting.items() if prepared.limits[place] >= 0}
    deadlines = deadline_of_rule(prepared, limiting, due)
    held = held_limits(prepared, counting, tiers, days.today, look_again.due_on, deadlines)
    chosen, avoided = materials(prepared, counting, names[tiers.given], facts, interval_cm)
    decision = LimbDecision(
        side=side,
        disposition=outcome,
        tier=names[tiers.given],
        target_tier=names[tiers.target],
        highest_possible_tier=names[tiers.highest],
        review=look_again,
        limits=_limits(prepared, limiting, tiers.given),
        plan=step_up_plan(prepared, facts, tiers, held, look_again.due_on),
        questions=questions(prepared, counting, facts, tiers, settings),
        arrangements=due,
        chosen=chosen,
        avoided=avoided,
        danger_sign=facts.get("danger_sign") == "yes",
        trace=Trace(states, tests, facts),
    )
    refuse_broken(prepared, decision, days)
    return decision


def _limits(prepared: PreparedEdition, limiting: Counting, given: int) -> tuple[Held, ...]:
    """Every limit that counts, lowest first, in the order of the rules where equal."""
    limits = prepared.limits
    ordered = sorted(limiting, key=limits.__getitem__)
    return tuple([prepared.held[place][limiting[place] - 1][limits[place] == given] for place in ordered])


def tier_now(prepared: PreparedEdition, facts: Mapping[str, Answer]) -> int | None:
    """Rank of the tier on the leg on arrival; 0 when nothing is on, None when it was not recorded."""
    now = facts.get("current_tier")
    if not isinstance(now, str):
        return None
    now = prepared.counts_as.get("current_tier", {}).get(now, now)
    return prepared.tier_names.index(now) if now in prepared.tier_names else 0


def _person(limbs: Mapping[Side, LimbDecision]) -> PersonDecision:
    """The most urgent disposition and the earliest review; a danger sign in one leg holds back the other."""
    urgency = DISPOSITIONS.index
    decisions = list(limbs.values())
    stopped = any(one.danger_sign and one.disposition == "stop_and_escalate" for one in decisions)
    return PersonDecision(
        disposition=min((one.disposition for one in decisions), key=urgency),
        review=min((one.review for one in decisions), key=lambda entry: (entry.due_on, entry.within_hours)),
        other_leg_waits=stopped and any(one.disposition in ("start", "step_up") for one in decisions),
    )


def _disagreement(prepared: PreparedEdition, side: Side, states: bytes, second: bytes) -> Diagnostic:
    rules = prepared.edition.rules
    named = [rule.id for rule, one, two in zip(rules, states, second, strict=False) if one != two]
    return Diagnostic(
        "engines-disagree",
        f"The two engines read these rules differently for the {side} leg: {', '.join(named) or 'all'}.",
        "Give no tier from this answer; decide by local policy, and report the fault with the request.",
    )
