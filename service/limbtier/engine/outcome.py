"""What one leg comes to, without the rest of a decision: for going through very many of them.

The parts are those of `decide_limb`, in the same order, and a test compares both. What is left out is what
makes an answer fit to be given: the second engine, the guard rails, and everything beside tier and review.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from limbtier.domain.assessment import Answer, Assessment, Side
from limbtier.domain.decision import Disposition
from limbtier.engine.decide import SUPPORT, facts_of_limb, tier_now
from limbtier.engine.due_dates import Days, review
from limbtier.engine.prepared import PreparedEdition
from limbtier.engine.tiers import disposition, tier_range
from limbtier.measures.working_days import WorkingCalendar


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a leg is compared by."""

    disposition: Disposition
    tier: str
    target_tier: str
    review_due_on: date


def outcome_of_limb(
    prepared: PreparedEdition, side: Side, assessment: Assessment, calendar: WorkingCalendar
) -> Outcome:
    """The outcome of one leg; never given as an answer. Raises CalendarRangeError."""
    facts: dict[str, Answer] = facts_of_limb(prepared, assessment, side)
    settings = prepared.periods.on(assessment.assessed_on)
    states, _, derived = prepared.rules.read(facts)
    facts.update(derived)
    first_contact = facts.get("first_contact_on")
    first_contact_on = first_contact if isinstance(first_contact, date) else None
    days = Days(assessment.assessed_on, calendar, first_contact_on, settings)
    counting = {place: state for place, state in enumerate(states) if state}
    tiers = tier_range(prepared, counting)
    outcome = disposition(tiers, tier_now(prepared, facts), SUPPORT)
    names = prepared.tier_names
    due_on = review(prepared, counting, tiers, outcome, days).due_on
    return Outcome(outcome, names[tiers.given], names[tiers.target], due_on)
