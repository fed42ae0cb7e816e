"""Invents the answers about one person and about one leg, consistent in themselves."""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

from demo_data.caseload import TIERS_ON, Answers, Kind
from demo_data.draws import Chance

# Ankle pressure in percent of the higher arm pressure.
RATIOS_PERCENT = {"normal": (88, 122), "reduced": (61, 79), "low": (38, 58), "incompressible": (133, 155)}

ADVICE = {"not_sought": 54, "agrees": 40, "advises_against": 6}


class Visit(NamedTuple):
    """What both legs have in common at one contact."""

    day: date
    days_in_episode: int
    arms: tuple[int, int]
    stiff_arteries_likely: bool
    walks: bool
    settled: bool

    def days_ago(self, days: int) -> str:
        """The day so long before the contact."""
        return (self.day - timedelta(days=days)).isoformat()


def invent_person(chance: Chance, settled: bool) -> Answers:
    """Answers about a person who has no danger sign; the arms are not measured yet.

    `settled`: compression is on, so what a first visit leaves open has been found out since.
    """
    older = chance.whole(45, 98), chance.whole(45, 98)
    age = max(older) if chance.yes(0.7) else min(older)
    heart = chance.by({"none": 66, "stable": 24, "suspected": 5, "not_known": 5})
    person: Answers = {
        "age_years": age,
        "end_of_life_care": chance.yes(0.03),
        "acute_stroke": False,
        "signs_of_sepsis": False,
        "breathless_at_rest_or_lying_flat": False,
        "heart_failure_status": heart,
    }
    if heart != "none":
        weighed = chance.yes(0.6)
        person["weight_gain_kg_over_2_days"] = chance.tenths(-0.8, 0.7) if weighed else "not_done"
        person["heart_failure_team_advice"] = chance.by({"agrees": 1} if settled else ADVICE)
    if heart == "stable":
        person["nyha_class"] = chance.by({"1": 15, "2": 50, "3": 25, "not_known": 10})
    person |= {
        "diabetes": chance.yes(0.28),
        "chronic_kidney_disease": chance.yes(0.12 if age < 75 else 0.3),
        "mobility": chance.by(
            {"walks": 20, "walks_with_aid": 50, "transfers_only": 18, "bed_or_chair_bound": 12}
        ),
        "sleeps_in_chair": chance.by(
            {"no": 76, "habit_or_mobility": 24, "reason_not_known": 0 if settled else 7}
        ),
        "can_report_problems": chance.by({"yes": 82, "carer_can": 14, "no": 4}),
        "can_manage_garments": chance.by({"alone": 12, "with_help": 48, "no": 40}),
        "paste_or_preservative_allergy": chance.by({"no": 35, "yes": 5, "not_known": 60}),
        "inflammatory_cause": chance.by(
            {"none": 92, "rheumatoid": 4, "vasculitis": 2, "sickle_cell": 1, "pyoderma": 1}
        ),
        "arm_pressure_left_mmhg": "not_done",
        "arm_pressure_right_mmhg": "not_done",
    }
    return person


def invent_leg(chance: Chance, kind: Kind, visit: Visit) -> Answers:
    """Answers about a leg without a danger sign."""
    days = visit.days_in_episode
    tier = chance.one_of(TIERS_ON) if kind.tier == "any" else kind.tier
    wound, oedema = chance.by(kind.wounds), chance.by(kind.oedema)
    leaking = oedema != "none" and chance.yes(kind.leaking)
    treated = tier == "withhold" and chance.yes(0.5)
    leg: Answers = {
        "acute_limb_ischaemia_signs": False,
        "limb_threat_pain": False,
        "gangrene_or_necrosis": False,
        "suspected_dvt": False,
        "acute_infection": treated,
        "suspected_skin_cancer": False,
        "bleeding_varicose_vein": False,
        "hot_swollen_foot": False,
    }
    if treated:
        leg["infection_treated_24h_and_well"] = True
    leg["wound"] = wound
    if wound != "none":
        leg |= _wound(chance, kind, wound, days, leaking)
    leg["oedema"] = oedema
    if oedema != "none":
        leg["oedema_settles_on_elevation"] = chance.yes(0.45)
        leg["oedema_months"] = chance.whole(days // 30, days // 30 + chance.one_of((2, 6, 24, 120)))
    leg |= {
        "leaking": leaking,
        "long_term_compression": tier == "strong" or (kind.days_in_episode[1] > 0 and chance.yes(0.3)),
        "wet_eczema": chance.yes(0.3 if leaking else 0.08),
        "fragile_skin": chance.yes(0.4),
        "shape_distorted": chance.yes(0.5 if oedema == "above_knee" else 0.1),
        "toes_swollen": oedema != "none" and chance.yes(0.3),
    }
    leg |= _girths(chance, oedema)
    leg["dressing_thickness_mm"] = chance.whole(4, 16) if wound != "none" or leaking else 0
    leg |= _arterial_supply(chance, kind, visit, oedema)
    leg |= _sensation_and_pain(chance, wound, visit)
    leg["first_contact_on"] = visit.days_ago(days)
    leg["current_tier"] = tier
    return leg | _follow_up(chance, kind, leg, visit)


def _wound(chance: Chance, kind: Kind, wound: str, days: int, leaking: bool) -> Answers:
    length = chance.tenths(0.8, 9.0)
    before = chance.whole(4, 80) if wound == "leg_ulcer" else chance.whole(0, 2)
    site = chance.by(kind.sites)
    found: Answers = {
        "wound_site": site,
        "rapidly_worsening_wound": chance.yes(0.06),
        "wound_weeks": before + days // 7,
        "wound_length_cm": length,
        "wound_width_cm": max(round(length * chance.whole(4, 9) / 10, 1), 0.3),
        "exudate": chance.by(
            {"high": 60, "moderate": 40} if leaking else {"none": 10, "low": 50, "moderate": 40}
        ),
    }
    if site != "leg":
        found["foot_service_advice"] = chance.by(ADVICE)
    return found


def _girths(chance: Chance, oedema: str) -> Answers:
    """Girths up a leg, the first at the ankle and the widest at the calf; a few legs are not measured."""
    swelling = {"none": 0.0, "below_knee": 3.0, "to_knee": 6.0, "above_knee": 9.0}[oedema]
    if chance.yes(0.12):
        return dict.fromkeys(("ankle_girth_cm", "calf_girth_cm", "girth_series_cm"), "not_done")
    ankle = round(chance.tenths(17.5, 24.0) + swelling, 1)
    calf = round(ankle + chance.tenths(9.0, 15.0), 1)
    rising = [round(ankle + (calf - ankle) * step / 5, 1) for step in range(6)]
    above = [round(calf - chance.tenths(0.2, 1.5), 1), round(calf - chance.tenths(1.6, 3.0), 1)]
    return {"ankle_girth_cm": ankle, "calf_girth_cm": calf, "girth_series_cm": rising + above}


def _arterial_supply(chance: Chance, kind: Kind, visit: Visit, oedema: str) -> Answers:
    arm, at_risk, days = max(visit.arms), visit.stiff_arteries_likely, visit.days_in_episode
    supply = chance.by(kind.tests)
    if supply in RATIOS_PERCENT and at_risk and chance.yes(0.2):
        supply = "incompressible"
    measured = supply in RATIOS_PERCENT
    poor = supply in ("reduced", "low")
    found: Answers = {"abpi_availability": "measured" if measured else supply}
    toe: int | str = "not_done"
    if measured:
        stiff = supply == "incompressible" and chance.yes(0.5)
        ankle = arm * chance.whole(*RATIOS_PERCENT[supply]) // 100
        pair: list[int | str] = ["not_done"] * 2 if stiff else [ankle, ankle - chance.whole(2, 18)]
        swap = chance.yes(0.5)
        found["dorsalis_pedis_mmhg"], found["posterior_tibial_mmhg"] = reversed(pair) if swap else pair
        found["ankle_not_compressible"] = stiff
        if chance.yes(0.6 if at_risk or supply == "incompressible" else 0.15):
            toe = arm * chance.whole(*((28, 55) if poor else (62, 92))) // 100
    if supply == "reported":
        found["reported_abpi"] = (chance.whole(84, 119) if chance.yes(0.8) else chance.whole(58, 83)) / 100
    if measured or supply == "reported":
        undated = supply == "reported" and chance.yes(0.15)
        age = 0 if chance.yes(0.4) else chance.whole(0, max(days, 14) if measured else 150)
        found["arterial_test_on"] = "not_done" if undated else visit.days_ago(age)
    listened = measured or chance.yes(0.9 if visit.settled else 0.4)
    sounds = {"monophasic": 1} if poor else {"multiphasic": 93, "monophasic": 7}
    if poor:
        pulses = {"absent": 60, "present": 40}
    elif oedema != "none":
        pulses = {"not_felt_through_oedema": 45, "present": 35, "not_checked": 17, "absent": 3}
    else:
        pulses = {"present": 90, "not_checked": 10}
    agreed = {"moderate": 55, "mild": 15, "none": 30} if poor and days else {"none": 96, "strong": 4}
    return found | {
        "toe_pressure_mmhg": toe,
        "foot_pulses": chance.by(pulses),
        "doppler_sounds": chance.by(sounds) if listened else "not_done",
        "claudication": visit.walks and chance.yes(0.5 if poor else 0.04),
        "known_arterial_disease": chance.yes(0.5 if poor else 0.03),
        "arterial_graft_or_stent": chance.by({"no": 95, "not_known": 2, "stent": 2, "bypass_graft": 1}),
        "vascular_advice": "no_compression" if supply == "low" and chance.yes(0.5) else chance.by(agreed),
    }


def _sensation_and_pain(chance: Chance, wound: str, visit: Visit) -> Answers:
    at_risk = visit.stiff_arteries_likely
    numb = {"intact": 76, "reduced": 17, "absent": 7} if at_risk else {"intact": 97, "reduced": 3}
    found: Answers = {"sensation": chance.by(numb)}
    if found["sensation"] == "absent":
        found["neuropathy_advice"] = chance.by({"agrees": 1} if visit.settled else ADVICE)
    sore = {"nociceptive": 66, "none": 20, "mixed": 6, "neuropathic": 4, "not_known": 4}
    found["pain_type"] = chance.by(
        sore if wound != "none" else {"none": 65, "nociceptive": 31, "not_known": 4}
    )
    if found["pain_type"] != "none":
        cannot_say = chance.yes(0.05)
        found["pain_score"] = "not_done" if cannot_say else min(chance.whole(1, 9), chance.whole(1, 9))
    found["ankle_movement"] = chance.by({"full": 48, "reduced": 42, "fixed": 10})
    return found


def _follow_up(chance: Chance, kind: Kind, leg: Answers, visit: Visit) -> Answers:
    """What is known since compression started; a leg with nothing on has no start to compare with."""
    tier, girths = leg["current_tier"], leg["girth_series_cm"]
    if tier not in TIERS_ON:
        return {"start_girth_series_cm": "not_done"}
    progress = chance.by({"better": 62, "no_change": 26, "worse": 12})
    low, high = {"better": (120, 230), "no_change": (96, 106), "worse": (60, 90)}[progress]
    started = max(visit.days_in_episode - chance.whole(0, 1), 0)
    at_tier = started if tier in ("support", "mild") else chance.whole(started // 4, max(started * 3 // 4, 1))
    found: Answers = {
        "current_tier_since": visit.days_ago(at_tier),
        "compression_started_on": visit.days_ago(started),
        "tolerance": chance.by(kind.tolerance),
        "progress": progress,
    }
    if leg["wound"] != "none":
        area = leg["wound_length_cm"] * leg["wound_width_cm"] * chance.whole(low, high) / 100
        found["start_wound_area_cm2"] = "not_done" if chance.yes(0.15) else round(area, 2)
    wider = {"better": (2, 9), "no_change": (0, 1), "worse": (-6, -2)}[progress]
    percent = 100 + chance.whole(*wider)
    unknown = girths == "not_done" or chance.yes(0.25)
    found["start_girth_series_cm"] = (
        "not_done" if unknown else [round(one * percent / 100, 1) for one in girths]
    )
    return found
