"""The caseload: which kinds of contact there are, how many of each, and what goes wrong or unasked in them.

All shares are made up. Nothing here was counted anywhere.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from demo_data.draws import Shares

Answers = dict[str, Any]

TIERS_ON = ("support", "mild", "moderate", "strong")

NO_WOUND: Shares = {"none": 1}
ON_THE_LEG: Shares = {"leg": 1}
NO_SWELLING: Shares = {"none": 1}
SOME_SWELLING: Shares = {"none": 25, "below_knee": 45, "to_knee": 22, "above_knee": 8}
SWOLLEN: Shares = {"below_knee": 45, "to_knee": 38, "above_knee": 17}
AT_FIRST: Shares = {"not_yet_done": 78, "reported": 8, "normal": 8, "reduced": 3, "incompressible": 3}
BY_NOW: Shares = {
    "normal": 60,
    "reported": 14,
    "reduced": 8,
    "incompressible": 8,
    "low": 6,
    "not_yet_done": 7,
}
STILL_NOT: Shares = {"not_yet_done": 70, "not_possible": 16, "declined": 14}
TOLERATED: Shares = {"good": 82, "with_difficulty": 18}
TESTED: Shares = {"normal": 74, "reduced": 12, "incompressible": 11, "low": 4}
NEW_WOUNDS: Shares = {"erosions": 60, "traumatic_wound": 40}
ANY_WOUND: Shares = {"none": 15, "erosions": 40, "leg_ulcer": 35, "traumatic_wound": 10}
ANY_ON_FOOT: Shares = {"leg_ulcer": 60, "traumatic_wound": 40}
FOOT: Shares = {"foot": 65, "leg_and_foot": 35}
NOT_TOLERATED: Shares = {"not_tolerated": 1}


class Kind(NamedTuple):
    """A kind of contact: how many there are, and what the leg that each is about is like."""

    contacts: int
    wounds: Shares
    oedema: Shares
    leaking: float
    tests: Shares
    tier: str = "none"
    days_in_episode: tuple[int, int] = (0, 0)
    sites: Shares = ON_THE_LEG
    tolerance: Shares = TOLERATED
    danger: bool = False


KINDS = {
    "swollen and leaking": Kind(40, {"none": 45, "erosions": 55}, SWOLLEN, 1.0, AT_FIRST),
    "newly wounded": Kind(24, NEW_WOUNDS, SOME_SWELLING, 0.2, AT_FIRST),
    "ulcer": Kind(22, {"leg_ulcer": 1}, SOME_SWELLING, 0.25, AT_FIRST),
    "swollen and dry": Kind(12, NO_WOUND, SWOLLEN, 0.0, AT_FIRST),
    "nothing to treat": Kind(6, NO_WOUND, NO_SWELLING, 0.0, AT_FIRST),
    "foot wound": Kind(8, ANY_ON_FOOT, SOME_SWELLING, 0.0, AT_FIRST, sites=FOOT),
    "danger sign": Kind(12, ANY_WOUND, SWOLLEN, 0.3, STILL_NOT, danger=True),
    "support so far": Kind(10, ANY_WOUND, SWOLLEN, 0.5, AT_FIRST, "support", (1, 6)),
    "mild, still untested": Kind(16, ANY_WOUND, SWOLLEN, 0.6, STILL_NOT, "mild", (3, 40)),
    "mild, tested by now": Kind(16, ANY_WOUND, SWOLLEN, 0.3, BY_NOW, "mild", (3, 30)),
    "moderate": Kind(9, ANY_WOUND, SWOLLEN, 0.2, BY_NOW, "moderate", (10, 80)),
    "strong": Kind(12, ANY_WOUND, SOME_SWELLING, 0.1, BY_NOW, "strong", (14, 160)),
    "not tolerated": Kind(7, ANY_WOUND, SWOLLEN, 0.3, BY_NOW, "any", (3, 60), tolerance=NOT_TOLERATED),
    "stopped before": Kind(6, ANY_WOUND, SWOLLEN, 0.4, AT_FIRST, "withhold", (3, 20)),
}

ISCHAEMIC_PAIN: Answers = {"pain_type": "ischaemic", "pain_score": 8, "foot_pulses": "absent"}
FAILING_HEART: Answers = {
    "heart_failure_status": "decompensated",
    "weight_gain_kg_over_2_days": 1.8,
    "heart_failure_team_advice": "not_sought",
}
# What changes about the person, and about the leg.
DANGERS: tuple[tuple[Answers, Answers], ...] = (
    ({}, {"acute_infection": True, "infection_treated_24h_and_well": False}),
    ({}, {"suspected_dvt": True}),
    ({"breathless_at_rest_or_lying_flat": True} | FAILING_HEART, {}),
    ({}, {"limb_threat_pain": True} | ISCHAEMIC_PAIN),
    ({}, {"hot_swollen_foot": True}),
    ({}, {"gangrene_or_necrosis": True} | ISCHAEMIC_PAIN),
    ({"sleeps_in_chair": "breathlessness"}, {}),
    ({}, {"suspected_skin_cancer": True}),
    ({"signs_of_sepsis": True}, {"acute_infection": True, "infection_treated_24h_and_well": False}),
    ({}, {"bleeding_varicose_vein": True}),
    ({"acute_stroke": True}, {}),
    ({}, {"acute_limb_ischaemia_signs": True} | ISCHAEMIC_PAIN),
)

# Asked only because of the answer to another question, so never answered when that one was not.
FOLLOWING = {
    "heart_failure_status": "weight_gain_kg_over_2_days heart_failure_team_advice nyha_class",
    "acute_infection": "infection_treated_24h_and_well",
    "wound": "wound_site rapidly_worsening_wound wound_weeks wound_length_cm wound_width_cm exudate"
    " start_wound_area_cm2",
    "wound_site": "foot_service_advice",
    "oedema": "oedema_settles_on_elevation oedema_months",
    "abpi_availability": "dorsalis_pedis_mmhg posterior_tibial_mmhg ankle_not_compressible reported_abpi"
    " arterial_test_on",
    "sensation": "neuropathy_advice",
    "pain_type": "pain_score",
    "current_tier": "current_tier_since compression_started_on tolerance progress start_wound_area_cm2",
}
# Parts of a visit that are left out together when time runs short.
GAPS = (
    "heart_failure_status",
    "weight_gain_kg_over_2_days heart_failure_team_advice nyha_class",
    "arm_pressure_left_mmhg arm_pressure_right_mmhg",
    "ankle_girth_cm calf_girth_cm girth_series_cm start_girth_series_cm dressing_thickness_mm",
    "toe_pressure_mmhg foot_pulses doppler_sounds claudication",
    "known_arterial_disease arterial_graft_or_stent vascular_advice",
    "sensation pain_type ankle_movement",
    "wound_weeks wound_length_cm wound_width_cm start_wound_area_cm2",
    "first_contact_on current_tier_since compression_started_on",
    "can_manage_garments paste_or_preservative_allergy inflammatory_cause",
    "hot_swollen_foot suspected_skin_cancer bleeding_varicose_vein",
    "sleeps_in_chair",
)
