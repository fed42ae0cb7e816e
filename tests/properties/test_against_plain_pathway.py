"""The service against an independent second reading of the same clinical pathway.

`plain_pathway.py` was written by hand from the pathway, without the rule files and without the engine.
Generated assessments, whole and with gaps, must come out the same in both: the tier given and the range it
lies in, the target, the disposition, the review and its day, every limit that counts, every arrangement
with its deadline, and every step of the plan.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, time
from fractions import Fraction
from typing import Final

import pytest

from limbtier.domain.assessment import Answer, Assessment, Side
from limbtier.domain.decision import DISPOSITIONS, Decision, LimbDecision
from limbtier.engine.decide import decide
from limbtier.engine.prepared import PreparedEdition
from limbtier.measures.working_days import WorkingCalendar
from tests.properties.generated_contacts import DAYS, Contact, make_contact
from tests.properties.plain_pathway import (
    NOT_ASKED,
    TIERS,
    Calendar,
    Leg,
    Lifting,
    PlainDecision,
    Step,
    Value,
    conclude,
    decide_leg,
    person_of,
)

# What each arrangement of the plain pathway is called in the edition.
ARRANGEMENTS: Final = {
    "on-call vascular team": "on_call_vascular_team",
    "vascular team, urgent": "urgent_vascular_assessment",
    "vascular opinion": "vascular_opinion",
    "vascular referral": "vascular_referral",
    "vascular service (veins)": "vein_service",
    "DVT pathway": "dvt_pathway",
    "emergency care": "emergency_care",
    "treat the infection": "infection_treatment",
    "look at the leg after infection": "leg_check_after_infection",
    "urgent cancer referral": "suspected_cancer_referral",
    "medical or heart-failure review": "heart_review_today",
    "medical assessment of the foot": "medical_assessment_of_foot",
    "acute foot service": "acute_foot_service",
    "stroke team advice": "stroke_team_advice",
    "multidisciplinary foot service": "foot_service_referral",
    "input of the person's other clinicians": "other_clinicians_input",
    "toe pressure": "toe_pressure",
    "arterial test": "arterial_test",
    "full assessment": "full_assessment",
    "tell the named lead": "named_lead_told",
    "named lead's decision": "named_lead_decision",
    "settle what holds it at mild": "settle_hold_at_mild",
    "neuropathy advice": "neuropathy_opinion",
    "heart-failure team's view": "heart_team_view",
    "doctor's assessment of the heart": "heart_assessment",
    "result of the heart assessment": "heart_assessment_result",
    "specialist for a worsening wound": "wound_specialist",
    "specialist for the cause": "cause_specialist",
    "somebody to look at the toes daily": "daily_toe_check",
    "reason for sleeping in a chair": "find_reason_for_chair",
    "reason it is not tolerated": "find_reason_for_poor_tolerance",
    "leg-ulcer or tissue-viability service": "leg_ulcer_service",
    "reassess and refer": "reassess_and_refer",
    "lymphoedema service": "lymphoedema_service",
    "cause of the swelling": "cause_of_swelling",
}

# The service's answer in the terms of the plain one.


def assessment_of(core: PreparedEdition, contact: Contact) -> Assessment:
    """The contact as the service reads it."""

    def answer(value: Value) -> Answer:
        if isinstance(value, bool):
            return "yes" if value else "no"
        return Fraction(value) if isinstance(value, int) else value

    person = {name: answer(value) for name, value in contact.person.items()}
    problems = core.answers.complete(person, "person", {}, ["person"])
    limbs: dict[Side, dict[str, Answer]] = {}
    for side, answers in contact.limbs.items():
        limbs[side] = {name: answer(value) for name, value in answers.items()}
        problems += core.answers.complete(limbs[side], "limb", person, ["limbs", side])
    assert not problems, [problem.message for problem in problems]
    moment = datetime.combine(contact.today, time(10), tzinfo=UTC)
    return Assessment(moment, "england", None, None, person, limbs, {})


def plainly(decision: LimbDecision, diabetes: Value | None) -> PlainDecision:
    """The service's decision in the shape of the plain one."""
    limits: dict[tuple[str, str | None], bool] = {}
    for limit in decision.limits:
        place = (limit.tier, limit.until)
        limits[place] = limits.get(place, False) or not limit.undetermined
    due = {entry.what: entry.due_on for entry in decision.arrangements if not entry.pending}
    # The edition asks for this once and names who does it where diabetes is recorded; unless diabetes has
    # been ruled out it is the acute foot service.
    hot_foot = due.pop("hot_foot_assessment", None)
    if hot_foot is not None and diabetes is None:
        due["acute_foot_service"] = hot_foot
    names = {theirs: ours for ours, theirs in ARRANGEMENTS.items()}
    dates = {names.get(what, what): by for what, by in due.items() if by is not None}
    assert len(dates) == len(due)
    return PlainDecision(
        tier=decision.tier,
        highest_possible_tier=decision.highest_possible_tier,
        target_tier=decision.target_tier,
        disposition=decision.disposition,
        review_on=decision.review.due_on,
        review_days=decision.review.within_hours // 24,
        no_working_day=decision.review.no_working_day,
        limits=limits,
        arrangements=dates,
        plan=tuple(
            Step(
                step.from_tier,
                step.to_tier,
                frozenset(Lifting(lifting.tier, lifting.lift, lifting.by) for lifting in step.liftings),
            )
            for step in decision.plan
        ),
        danger_sign=decision.danger_sign,
    )


# The comparison.

CONTACTS: Final = 100
BLOCKS: Final = range(10)


@dataclass(frozen=True, slots=True)
class Answered:
    """A contact, and what the service and the plain pathway say to it."""

    contact: Contact
    service: Decision
    plain: Mapping[Side, PlainDecision]
    holidays: Sequence[date]


@pytest.fixture(scope="module", params=BLOCKS)
def block(request: pytest.FixtureRequest, core: PreparedEdition, england: WorkingCalendar) -> list[Answered]:
    """A block of contacts, each with both answers."""
    calendar = Calendar(sorted(england.days_off))
    first = int(request.param) * CONTACTS
    return [answered(core, england, calendar, seed) for seed in range(first, first + CONTACTS)]


def answered(core: PreparedEdition, england: WorkingCalendar, calendar: Calendar, seed: int) -> Answered:
    """One generated contact with both answers."""
    contact = make_contact(seed)
    assessment = assessment_of(core, contact)
    plain = {
        side: decide_leg({**contact.person, **answers}, contact.today, calendar)
        for side, answers in contact.limbs.items()
    }
    return Answered(
        contact, decide(core, assessment, england, assessment.assessed_at), plain, calendar.holidays
    )


def differences(one: Answered) -> Iterator[str]:
    """What the two answers to one contact do not agree on, one line each."""
    for side, plain in one.plain.items():
        service = plainly(one.service.limbs[side], one.contact.person.get("diabetes"))
        for part in fields(PlainDecision):
            wanted, found = getattr(plain, part.name), getattr(service, part.name)
            if wanted != found:
                yield f"{side} {part.name}: {found}, but by the plain pathway {wanted}"


def test_service_and_plain_pathway_conclude_the_same_for_each_leg(block: list[Answered]) -> None:
    found = [(one.contact, difference) for one in block for difference in differences(one)]
    assert not found, found[0]


def test_service_and_plain_pathway_conclude_the_same_for_the_person(block: list[Answered]) -> None:
    for one in block:
        person = one.service.person
        found = (person.disposition, person.review.due_on, person.other_leg_waits)
        assert found == person_of(list(one.plain.values())), one.contact


def test_an_answer_that_the_service_does_not_ask_for_moves_nothing(block: list[Answered]) -> None:
    """The list of questions is never too short: whatever else is answered, the outcome stays."""
    filled = 0
    for place, one in enumerate(block):
        other = block[place - 1].contact
        for side, plain in one.plain.items():
            given = {**one.contact.person, **one.contact.limbs[side]}
            asked = {question.input for question in one.service.limbs[side].questions}
            known = Leg(given, one.contact.today).known
            more = {
                name: value
                for name, value in {**other.person, **other.limbs[side]}.items()
                if name not in known and name not in asked and not isinstance(value, date)
            }
            after = Leg({**given, **more}, one.contact.today).known
            if any(after[name] == NOT_ASKED for name in given):
                continue  # what was added contradicts an answer that was given
            answers = {name: value for name, value in (given | more).items() if after[name] != NOT_ASKED}
            found = decide_leg(answers, one.contact.today, Calendar(one.holidays))
            assert outcome(found) == outcome(plain), (one.contact, side, more)
            filled += bool(more)
    assert filled


def outcome(decision: PlainDecision) -> tuple[str, str, str, str, date]:
    """What the questions are asked for."""
    return (
        decision.tier,
        decision.highest_possible_tier,
        decision.target_tier,
        decision.disposition,
        decision.review_on,
    )


def test_contacts_reach_every_disposition_and_tier_and_every_row_of_the_pathway() -> None:
    """What is compared above is worth comparing: no row is always false, and few legs are stopped."""
    calendar = Calendar([])
    outcomes: Counter[str] = Counter()
    rows: Counter[str] = Counter()
    waiting = 0
    for seed in range(CONTACTS * len(BLOCKS)):
        contact = make_contact(seed)
        legs = []
        for answers in contact.limbs.values():
            known = {**contact.person, **answers}
            decision = decide_leg(known, contact.today, calendar)
            legs.append(decision)
            outcomes.update((decision.disposition, decision.tier))
            rows.update(row.row for row in conclude(Leg(known, contact.today)) if row.state)
        waiting += person_of(legs)[2]
    assert waiting
    assert {name for name in (*DISPOSITIONS, *TIERS) if not outcomes[name]} == set()
    every_row = {row.row for row in conclude(Leg({}, DAYS[0]))}
    assert every_row - set(rows) == set()
    assert 2 * outcomes["stop_and_escalate"] < sum(outcomes[name] for name in DISPOSITIONS)
