"""Generated contacts of both legs, whole and with gaps, with numbers on and beside the edges.

Most of them get past the danger signs, because behind those the pathway is at its most intricate.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Final

from limbtier.domain.assessment import SIDES, Side
from tests.properties.plain_pathway import NOT_ASKED, NOT_DONE, Leg, Value

# Mondays to Sundays, Easter, Christmas, and the last days whose holidays are known.
DAYS: Final = (
    *(date(2026, 3, 2) + timedelta(days=place) for place in range(7)),
    *(date(2026, 4, 1) + timedelta(days=place) for place in range(6)),
    *(date(2026, 12, 21) + timedelta(days=place) for place in range(12)),
    *(date(2027, 12, 22) + timedelta(days=place) for place in range(10)),
)
DANGER_SIGNS_OF_PERSON: Final = ("acute_stroke", "signs_of_sepsis", "breathless_at_rest_or_lying_flat")
DANGER_SIGNS_OF_LIMB: Final = (
    "acute_limb_ischaemia_signs",
    "limb_threat_pain",
    "gangrene_or_necrosis",
    "suspected_dvt",
    "suspected_skin_cancer",
    "bleeding_varicose_vein",
    "hot_swollen_foot",
)
# Choices, the plainest first, those that come up often named more than once.
PERSON_CHOICES: Final[Mapping[str, str]] = {
    "heart_failure_status": "none none none none none stable stable suspected not_known",
    "heart_failure_team_advice": "agrees not_sought agrees",
    "nyha_class": "1 2 3 not_known",
    "mobility": "walks walks_with_aid transfers_only bed_or_chair_bound",
    "sleeps_in_chair": "no no no no no habit_or_mobility habit_or_mobility reason_not_known",
    "can_report_problems": "yes yes yes yes carer_can no",
    "can_manage_garments": "alone with_help no",
    "paste_or_preservative_allergy": "no yes not_known",
    "inflammatory_cause": "none none none none none vasculitis sickle_cell rheumatoid pyoderma",
}
LIMB_CHOICES: Final[Mapping[str, str]] = {
    "wound": "none none erosions traumatic_wound leg_ulcer leg_ulcer",
    "wound_site": "leg leg leg leg leg leg leg leg leg leg leg leg leg leg leg foot leg_and_foot",
    "exudate": "none low moderate high",
    "foot_service_advice": "agrees agrees not_sought",
    "oedema": "none below_knee to_knee above_knee",
    "abpi_availability": "measured measured measured reported reported not_yet_done not_possible declined",
    "foot_pulses": "present present not_felt_through_oedema not_checked absent",
    "doppler_sounds": "multiphasic multiphasic not_done not_done monophasic",
    "arterial_graft_or_stent": "no no no no no stent not_known",
    "vascular_advice": "none none none none support mild moderate strong",
    "sensation": "intact intact intact reduced absent",
    "neuropathy_advice": "agrees agrees not_sought",
    "pain_type": "none nociceptive nociceptive neuropathic mixed not_known",
    "ankle_movement": "full reduced fixed",
    "current_tier": "none none none withhold support support mild mild mild moderate moderate strong strong",
    "tolerance": "good good good good with_difficulty not_tolerated",
    "progress": "better no_change worse",
}
VARIED: Final = ("wound", "oedema", "exudate", "abpi_availability", "current_tier", "progress")
# What stops compression, now and then.
ALARMING: Final[Mapping[str, str]] = {
    "heart_failure_status": "decompensated",
    "heart_failure_team_advice": "advises_against",
    "nyha_class": "4",
    "sleeps_in_chair": "breathlessness leg_pain_eased_by_hanging_down",
    "foot_service_advice": "advises_against",
    "doppler_sounds": "absent",
    "arterial_graft_or_stent": "bypass_graft",
    "vascular_advice": "no_compression",
    "neuropathy_advice": "advises_against",
    "pain_type": "ischaemic",
}
# The only thing that stops compression, with what must be answered for it to be asked at all.
ONE_ALARM_OF_PERSON: Final[Sequence[Mapping[str, Value]]] = (
    *({name: True} for name in DANGER_SIGNS_OF_PERSON),
    {"heart_failure_status": "decompensated"},
    {"heart_failure_status": "stable", "nyha_class": "4"},
    {"heart_failure_status": "suspected", "heart_failure_team_advice": "advises_against"},
    {"heart_failure_status": "suspected", "weight_gain_kg_over_2_days": 1},
    {"sleeps_in_chair": "breathlessness"},
    {"sleeps_in_chair": "leg_pain_eased_by_hanging_down"},
)
ONE_ALARM_OF_LIMB: Final[Sequence[Mapping[str, Value]]] = (
    *({name: True} for name in DANGER_SIGNS_OF_LIMB),
    {"acute_infection": True, "infection_treated_24h_and_well": False},
    {"wound": "leg_ulcer", "wound_site": "foot", "foot_service_advice": "not_sought"},
    {"wound": "leg_ulcer", "wound_site": "leg_and_foot", "foot_service_advice": "advises_against"},
    {"arterial_graft_or_stent": "bypass_graft", "vascular_advice": "none"},
    {"doppler_sounds": "absent", "vascular_advice": "none"},
    {"vascular_advice": "no_compression"},
    {"sensation": "absent", "neuropathy_advice": "advises_against"},
    {"pain_type": "ischaemic"},
)
# A leg whose goal is no higher than what is on it.
SETTLED: Final[Mapping[str, Value]] = {
    "wound": "erosions",
    "wound_site": "leg",
    "oedema": "none",
    "leaking": False,
    "exudate": "low",
    "current_tier": "mild",
}
OFTEN_YES: Final = ("leaking", "long_term_compression", "wet_eczema")
PERSON_FLAGS: Final = (
    *DANGER_SIGNS_OF_PERSON,
    "end_of_life_care",
    "diabetes",
    "chronic_kidney_disease",
)
LIMB_FLAGS: Final = (
    *DANGER_SIGNS_OF_LIMB,
    "acute_infection",
    "rapidly_worsening_wound",
    "oedema_settles_on_elevation",
    "leaking",
    "long_term_compression",
    "wet_eczema",
    "fragile_skin",
    "shape_distorted",
    "toes_swollen",
    "ankle_not_compressible",
    "claudication",
    "known_arterial_disease",
)
RATIOS: Final = tuple(Fraction(hundredths, 100) for hundredths in (30, 50, 60, 70, 80, 80, 100, 100, 130))
# Without these compression is withheld, so that no gap elsewhere shows.
DECISIVE: Final = (
    *DANGER_SIGNS_OF_PERSON,
    *DANGER_SIGNS_OF_LIMB,
    *ALARMING,
    "acute_infection",
    "infection_treated_24h_and_well",
    "weight_gain_kg_over_2_days",
    "wound",
    "wound_site",
    "abpi_availability",
)
MEASUREMENTS: Final = (
    "weight_gain_kg_over_2_days",
    "arm_pressure_left_mmhg",
    "arm_pressure_right_mmhg",
    "wound_weeks",
    "wound_length_cm",
    "wound_width_cm",
    "oedema_months",
    "dorsalis_pedis_mmhg",
    "posterior_tibial_mmhg",
    "arterial_test_on",
    "toe_pressure_mmhg",
    "doppler_sounds",
    "pain_score",
    "start_wound_area_cm2",
)


@dataclass(frozen=True, slots=True)
class Contact:
    """One generated contact: what was answered of the person and of each leg, and on which day."""

    today: date
    person: Mapping[str, Value]
    limbs: Mapping[Side, Mapping[str, Value]]


def make_contact(seed: int) -> Contact:
    """A contact with both legs; the same seed gives the same."""
    chance = random.Random(seed)
    today = chance.choice(DAYS)
    # Most contacts have no danger sign or one, and most have few gaps.
    alarm = chance.choice((0.0, 0.0, 0.0, 0.0, 0.0, 0.15))
    gaps = chance.choice((0.0, 0.0, 0.01, 0.03, 0.05, 0.1, 0.3))
    always = DECISIVE if chance.random() < 0.8 else ()
    whole = _person(chance, alarm)
    if chance.random() < 0.1:
        whole.update(chance.choice(ONE_ALARM_OF_PERSON))
    recorded = _with_gaps(chance, whole, gaps, always)
    legs = {side: _with_gaps(chance, _limb(chance, alarm, today, recorded), gaps, always) for side in SIDES}
    not_asked = Leg(recorded, today).known
    person = {name: value for name, value in recorded.items() if not_asked[name] != NOT_ASKED}
    limbs: dict[Side, Mapping[str, Value]] = {}
    for side, answers in legs.items():
        known = Leg({**person, **answers}, today).known
        limbs[side] = {name: value for name, value in answers.items() if known[name] != NOT_ASKED}
    return Contact(today, person, limbs)


def _with_gaps(
    chance: random.Random, answers: Mapping[str, Value], gaps: float, always: Sequence[str]
) -> dict[str, Value]:
    done = {
        name: NOT_DONE if name in MEASUREMENTS and chance.random() < 0.08 else value
        for name, value in answers.items()
    }
    return {name: value for name, value in done.items() if name in always or chance.random() >= gaps}


def _choices(chance: random.Random, choices: Mapping[str, str], alarm: float) -> dict[str, Value]:
    # Many legs have one or two things to think of, not all of them.
    simple = chance.choice((0.0, 0.5, 0.9))
    answers: dict[str, Value] = {}
    for name, often in choices.items():
        if name in ALARMING and chance.random() < alarm:
            answers[name] = chance.choice(ALARMING[name].split())
        elif name not in VARIED and chance.random() < simple:
            answers[name] = often.split()[0]
        else:
            answers[name] = chance.choice(often.split())
    return answers


def _flags(chance: random.Random, names: Sequence[str], alarm: float) -> dict[str, Value]:
    danger = {*DANGER_SIGNS_OF_PERSON, *DANGER_SIGNS_OF_LIMB}
    likely = chance.choice((0.05, 0.2, 0.5))
    return {
        name: chance.random() < (alarm if name in danger else 0.6 if name in OFTEN_YES else likely)
        for name in names
    }


def _person(chance: random.Random, alarm: float) -> dict[str, Value]:
    arm = chance.choice((80, 100, 120, 130, 150, 200))
    return {
        **_choices(chance, PERSON_CHOICES, alarm),
        **_flags(chance, PERSON_FLAGS, alarm),
        "age_years": chance.choice((40, 74, 75, 76, 90)),
        "weight_gain_kg_over_2_days": Fraction(chance.choice((-5, 0, 9)), 10),
        "arm_pressure_left_mmhg": arm,
        "arm_pressure_right_mmhg": arm - chance.choice((0, 5, 10, 20)),
    }


def _limb(chance: random.Random, alarm: float, today: date, person: Mapping[str, Value]) -> dict[str, Value]:
    def ago(*choices: int) -> date:
        return today - timedelta(days=chance.choice(choices))

    poor_supply = chance.random() < 0.15
    arm = person.get("arm_pressure_left_mmhg")
    ratio = chance.choice(RATIOS[:3] if poor_supply else RATIOS[3:])
    ankle = round(ratio * (arm if isinstance(arm, int) else 120)) + chance.choice((-1, 0, 0, 1, 5))
    if poor_supply and chance.random() < 0.4:
        ankle = chance.choice((49, 50, 59, 60, 69, 70, 70))
    first = ago(0, 0, 1, 7, 13, 14, 15, 28, 84, 200)
    started = chance.choice((first, min(today, first + timedelta(days=1)), ago(0, 13, 14, 27, 28, 83, 84)))
    length, width = Fraction(chance.choice((5, 10, 20))), Fraction(chance.choice((1, 3, 4, 6)), 2)
    smaller_by = Fraction(chance.choice((-20, 0, 24, 25, 25, 26, 39, 40, 40, 41, 90)), 100)
    answers: dict[str, Value] = {
        **_choices(chance, LIMB_CHOICES, alarm),
        **_flags(chance, LIMB_FLAGS, alarm),
        "infection_treated_24h_and_well": chance.random() < 0.9,
        "wound_weeks": chance.choice((0, 1, 2, 3, 30)),
        "wound_length_cm": length,
        "wound_width_cm": width,
        "oedema_months": chance.choice((0, 2, 3, 4, 30)),
        "dorsalis_pedis_mmhg": ankle,
        "posterior_tibial_mmhg": max(0, ankle - chance.choice((0, 1, 10, 40))),
        "reported_abpi": ratio + Fraction(chance.choice((-1, 0, 0, 1)), 100),
        "arterial_test_on": ago(0, 7, 83, 84, 85, 200),
        "toe_pressure_mmhg": chance.choice((29, 30, 49, 50) if poor_supply else (50, 69, 70, 90, 110)),
        "pain_score": chance.choice((0, 3, 6, 7, 8, 10)),
        "first_contact_on": first,
        "compression_started_on": started,
        "current_tier_since": max(started, chance.choice((started, ago(0, 1, 6, 7, 13, 14)))),
        "start_wound_area_cm2": length * width / (1 - smaller_by),
    }
    if chance.random() < 0.15:
        answers.update(SETTLED)
        answers["tolerance"] = chance.choice(("good", "with_difficulty"))
    if chance.random() < 0.15:
        answers.update(chance.choice(ONE_ALARM_OF_LIMB))
    return answers
