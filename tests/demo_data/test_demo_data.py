"""The demo data: it comes out the same every time, and every contact in it is read and decided."""

from __future__ import annotations

import json
import re
from collections import Counter
from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from demo_data.generate import as_lines, assessments
from limbtier.domain.decision import DISPOSITIONS, Decision, LimbDecision
from limbtier.domain.vocabulary import Vocabulary
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.ready_rules import ready_rules

CHECKOUT = Path(__file__).resolve().parents[2]
FOLDER = CHECKOUT / "demo_data"
NAMED = ("both_legs.json", "first_contact.json", "follow_up.json", "incomplete_contact.json")
LINES = (FOLDER / "assessments.jsonl").read_bytes().splitlines()
CONTACTS: list[dict[str, Any]] = [json.loads(line) for line in LINES]
EVERY: list[dict[str, Any]] = CONTACTS + [json.loads((FOLDER / name).read_bytes()) for name in NAMED]
TIERS_ON = ("support", "mild", "moderate", "strong")


@pytest.fixture(scope="module")
def decider() -> Decider:
    return Decider(ready_rules(CHECKOUT / "rules"))


@pytest.fixture(scope="module")
def vocabulary(decider: Decider) -> Vocabulary:
    return decider.rules.editions["core-2026.1.0"].edition.vocabulary


@pytest.fixture(scope="module")
def caseload(decider: Decider) -> list[Decision]:
    return [decider.decision(line)[0] for line in LINES]


def decided(decider: Decider, name: str) -> Decision:
    return decider.decision((FOLDER / name).read_bytes())[0]


def legs_of(decisions: list[Decision]) -> list[LimbDecision]:
    return [limb for decision in decisions for limb in decision.limbs.values()]


def arranged(limb: LimbDecision) -> set[str]:
    return {one.what for one in limb.arrangements if not one.pending}


# ---- what is in the files ---------------------------------------------------------------------------


def test_writing_the_caseload_again_gives_the_same_bytes() -> None:
    assert as_lines(assessments()) == (FOLDER / "assessments.jsonl").read_bytes()


def test_the_caseload_has_200_contacts_in_order_each_with_an_episode_of_its_own() -> None:
    assert len(CONTACTS) == 200
    assert len({contact["episode"] for contact in CONTACTS}) == 200
    moments = [contact["assessed_at"] for contact in CONTACTS]
    assert moments == sorted(moments)
    assert {moment[:7] for moment in moments} == {f"2026-{month:02}" for month in range(1, 11)}
    calendars = {contact["calendar"] for contact in CONTACTS}
    assert calendars == {"england", "scotland", "wales", "northern_ireland"}


def test_the_caseload_looks_like_one() -> None:
    legs = [leg for contact in CONTACTS for leg in contact["limbs"].values()]
    first = [leg for leg in legs if leg.get("current_tier") == "none"]
    untested = [leg for leg in first if leg.get("abpi_availability") not in ("measured", "reported")]
    assert len(untested) / len(first) > 0.6
    assert sum(len(contact["limbs"]) == 2 for contact in CONTACTS) > 60
    assert sum(contact["person"].get("heart_failure_status") == "stable" for contact in CONTACTS) > 20
    assert sum(contact["person"].get("diabetes") is True for contact in CONTACTS) > 30
    ages = [contact["person"].get("age_years", 70) for contact in CONTACTS]
    assert min(ages) >= 45
    assert max(ages) <= 98


def test_no_number_could_be_that_of_a_patient() -> None:
    for file in FOLDER.glob("*.json*"):
        assert not re.search(r"[0-9]{10}", file.read_text()), file.name
    for contact in EVERY:
        assert re.fullmatch(r"ep-[a-z]+-[0-9]{4}", contact["episode"])


def test_there_is_no_free_text_in_which_a_name_could_stand(vocabulary: Vocabulary) -> None:
    for contact in EVERY:
        assert set(contact) == {"assessed_at", "calendar", "episode", "person", "limbs"}
        for answers in (contact["person"], *contact["limbs"].values()):
            for name, answer in answers.items():
                if isinstance(answer, str):
                    entry = vocabulary.inputs[name]
                    is_day = entry.kind == "date" and re.fullmatch(r"202[56]-[0-9]{2}-[0-9]{2}", answer)
                    assert answer in (*entry.values(), "not_done") or is_day, (name, answer)


def test_dates_of_a_leg_follow_each_other() -> None:
    order = ("first_contact_on", "compression_started_on", "current_tier_since")
    for contact in EVERY:
        for leg in contact["limbs"].values():
            days = [date.fromisoformat(leg[name]) for name in order if name in leg]
            days.append(date.fromisoformat(contact["assessed_at"][:10]))
            assert days == sorted(days), contact["episode"]


def test_the_girths_of_a_leg_agree_with_each_other() -> None:
    for contact in EVERY:
        for leg in contact["limbs"].values():
            girths = leg.get("girth_series_cm")
            if isinstance(girths, list):
                assert girths[0] == leg.get("ankle_girth_cm", girths[0])
                assert max(girths) == leg.get("calf_girth_cm", max(girths))
            start = leg.get("start_girth_series_cm")
            if isinstance(girths, list) and isinstance(start, list):
                assert len(start) == len(girths)


# ---- what the core edition makes of them ------------------------------------------------------------


def test_every_contact_is_read_and_answered_without_a_warning(decider: Decider) -> None:
    for line, contact in zip(LINES, CONTACTS, strict=True):
        record = json.loads(decider.preview(line))
        assert record["warnings"] == [], contact["episode"]
        assert set(record["limbs"]) == set(contact["limbs"])


def test_every_disposition_and_every_tier_occurs(caseload: list[Decision]) -> None:
    legs = legs_of(caseload)
    assert {limb.disposition for limb in legs} == set(DISPOSITIONS)
    assert {limb.tier for limb in legs} == {"withhold", *TIERS_ON}
    assert {decision.person.disposition for decision in caseload} == set(DISPOSITIONS)


def test_about_a_third_of_the_contacts_leave_questions_unanswered(
    caseload: list[Decision], vocabulary: Vocabulary
) -> None:
    names = {scope: [one.name for one in vocabulary.of_scope(scope)] for scope in ("person", "limb")}
    incomplete = 0
    for decision in caseload:
        assessment = decision.assessment
        missing = [name for name in names["person"] if name not in assessment.person]
        missing += [name for name in names["limb"] for leg in assessment.limbs.values() if name not in leg]
        incomplete += bool(missing)
        if not missing:
            assert all(limb.determined and not limb.questions for limb in decision.limbs.values())
    assert 55 <= incomplete <= 80


def test_danger_signs_occur_and_most_decisions_are_not_about_one(caseload: list[Decision]) -> None:
    found = Counter(limb.danger_sign for limb in legs_of(caseload))
    assert 12 <= found[True] < found[False]


def test_the_first_contact_starts_at_mild_on_the_way_to_strong(decider: Decider) -> None:
    leg = decided(decider, "first_contact.json").limbs["left"]
    assert (leg.disposition, leg.tier, leg.target_tier) == ("start", "mild", "strong")
    assert leg.determined
    assert leg.questions == ()
    assert leg.review.within_hours == 48
    assert leg.review.due_on == date(2026, 3, 4)
    assert "full_assessment" in arranged(leg)
    lifts = {lifting.lift for step in leg.plan for lifting in step.liftings}
    assert lifts == {"arterial_result", "good_review"}


def test_the_incomplete_contact_cannot_be_decided_and_asks(decider: Decider) -> None:
    full = json.loads((FOLDER / "first_contact.json").read_bytes())
    part = json.loads((FOLDER / "incomplete_contact.json").read_bytes())
    assert part["person"].items() <= full["person"].items()
    assert part["limbs"]["left"].items() <= full["limbs"]["left"].items()
    leg = decided(decider, "incomplete_contact.json").limbs["left"]
    assert (leg.disposition, leg.tier) == ("cannot_decide_yet", "withhold")
    assert not leg.determined
    asked = {question.input for question in leg.questions}
    assert {"signs_of_sepsis", "suspected_dvt", "nyha_class"} <= asked
    assert not asked & (set(part["person"]) | set(part["limbs"]["left"]))
    assert leg.review.within_hours <= 24


def test_a_danger_sign_in_one_leg_makes_the_other_wait(decider: Decider) -> None:
    decision = decided(decider, "both_legs.json")
    left, right = decision.limbs["left"], decision.limbs["right"]
    assert (right.disposition, right.tier, right.danger_sign) == ("stop_and_escalate", "withhold", True)
    assert right.review.due_on == date(2026, 5, 12)
    assert (left.disposition, left.tier, left.danger_sign) == ("start", "mild", False)
    assert decision.person.disposition == "stop_and_escalate"
    assert decision.person.review.due_on == date(2026, 5, 12)
    assert decision.person.other_leg_waits


def test_the_follow_up_steps_up_from_mild_on_a_measured_ratio(decider: Decider) -> None:
    leg = decided(decider, "follow_up.json").limbs["left"]
    assert leg.trace.facts["abpi"] == Fraction(95, 100)
    assert (leg.disposition, leg.tier, leg.target_tier) == ("step_up", "moderate", "strong")
    assert leg.determined
    assert leg.questions == ()
    assert {lifting.lift for step in leg.plan for lifting in step.liftings} == {"good_review"}
