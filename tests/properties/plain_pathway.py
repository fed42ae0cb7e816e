"""The clinical pathway of the core edition, written out by hand as plain functions.

An independent second reading of the same clinical pathway: it shares no rule file, no condition tree and no
way of combining with the service, so that a slip in one of them shows as a difference. Every threshold
here was written from the pathway and not from the rules.

Answers are one mapping: flags True or False, choices text, numbers int or Fraction, dates, and "not_done"
for a measurement that was not made. An answer that is absent was not recorded. A statement is True, False,
or None while an answer that it needs was not recorded.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction
from typing import Final

import numpy as np

Value = bool | str | int | Fraction | date
Answers = Mapping[str, Value]
State = bool | None

TIERS: Final = ("withhold", "support", "mild", "moderate", "strong")
WITHHOLD, SUPPORT, MILD, MODERATE, STRONG = range(5)
NOT_ASKED: Final = "question not asked"
NOT_DONE: Final = "not_done"
URGENCY: Final = (
    "stop_and_escalate",
    "cannot_decide_yet",
    "step_down",
    "start",
    "step_up",
    "continue",
    "not_indicated",
)


# Statements of three values.


def every(*states: State) -> State:
    """False when one is false, otherwise None when one is not known."""
    if any(state is False for state in states):
        return False
    return None if any(state is None for state in states) else True


def some(*states: State) -> State:
    """True when one is true, otherwise None when one is not known."""
    if any(state is True for state in states):
        return True
    return None if any(state is None for state in states) else False


def opposite(state: State) -> State:
    """True for False, False for True, and None for not known."""
    return None if state is None else not state


# Intervals: kind and amount.


@dataclass(frozen=True, slots=True)
class Within:
    """By when: days from today, working days from today, or days of first contact."""

    kind: str
    amount: int


def days(amount: int) -> Within:
    """So many days from today; 0 is today."""
    return Within("days", amount)


def hours(amount: int) -> Within:
    """So many hours, a multiple of 24."""
    return Within("days", amount // 24)


TODAY: Final = days(0)
ONE_WORKING_DAY: Final = Within("working_days", 1)
FOURTEEN_DAYS_OF_FIRST_CONTACT: Final = Within("first_contact", 14)


@dataclass(frozen=True, slots=True)
class Calendar:
    """The days off of one nation."""

    holidays: Sequence[date]

    def last_working_day(self, after: date, until: date) -> date | None:
        """The last working day that is after `after` and not after `until`; None if there is none."""
        day = np.busday_offset(until, 0, roll="backward", holidays=list(self.holidays)).astype(object)
        assert isinstance(day, date)
        return day if day > after else None

    def next_working_day(self, after: date) -> date:
        """The first working day after `after`."""
        day = np.busday_offset(
            after + timedelta(days=1), 0, roll="forward", holidays=list(self.holidays)
        ).astype(object)
        assert isinstance(day, date)
        return day


# One leg: answers, questions that are not asked, measures.


class Leg:
    """What is known of one leg and its person on one day."""

    def __init__(self, answers: Answers, today: date) -> None:
        self.today = today
        self.known: dict[str, Value] = dict(answers)
        self._mark_what_is_not_asked()
        self._measure()

    def of(self, name: str) -> Value | None:
        """The answer or measure; None when it was not recorded."""
        return self.known.get(name)

    def yes(self, name: str) -> State:
        """Whether a flag is yes."""
        return self.one_of(name, True)

    def one_of(self, name: str, *values: Value) -> State:
        """Whether a question was answered with one of the values."""
        value = self.of(name)
        if value is None:
            return None
        return False if value == NOT_ASKED else value in values

    def other_than(self, name: str, *values: Value) -> State:
        """Whether a question that was asked was answered with anything else."""
        if self.of(name) == NOT_ASKED:
            return False
        return opposite(self.one_of(name, *values))

    def between(
        self,
        name: str,
        *,
        at_least: Fraction | int | None = None,
        above: Fraction | int | None = None,
        at_most: Fraction | int | None = None,
        below: Fraction | int | None = None,
    ) -> State:
        """Whether a number lies within the edges; false when it was not measured or not asked."""
        value = self.of(name)
        if value is None:
            return None
        if not isinstance(value, int | Fraction):
            return False
        return (
            (at_least is None or value >= at_least)
            and (above is None or value > above)
            and (at_most is None or value <= at_most)
            and (below is None or value < below)
        )

    def without(self, condition: State, *names: str) -> None:
        """Mark questions as not asked where their condition is false."""
        if condition is False:
            for name in names:
                self.known[name] = NOT_ASKED

    def _mark_what_is_not_asked(self) -> None:
        heart = "heart_failure_status"
        self.without(
            self.other_than(heart, "none"), "weight_gain_kg_over_2_days", "heart_failure_team_advice"
        )
        self.without(self.one_of(heart, "stable"), "nyha_class")
        self.without(self.yes("acute_infection"), "infection_treated_24h_and_well")
        wound = self.other_than("wound", "none")
        self.without(
            wound,
            "wound_site",
            "rapidly_worsening_wound",
            "wound_weeks",
            "wound_length_cm",
            "wound_width_cm",
            "exudate",
        )
        self.without(self.one_of("wound_site", "foot", "leg_and_foot"), "foot_service_advice")
        self.without(self.other_than("oedema", "none"), "oedema_settles_on_elevation", "oedema_months")
        availability = "abpi_availability"
        self.without(
            self.one_of(availability, "measured"),
            "dorsalis_pedis_mmhg",
            "posterior_tibial_mmhg",
            "ankle_not_compressible",
        )
        self.without(self.one_of(availability, "reported"), "reported_abpi")
        self.without(self.one_of(availability, "measured", "reported"), "arterial_test_on")
        self.without(self.one_of("sensation", "absent"), "neuropathy_advice")
        self.without(self.other_than("pain_type", "none"), "pain_score")
        on_the_leg = self.one_of("current_tier", *TIERS[SUPPORT:])
        self.without(on_the_leg, "current_tier_since", "compression_started_on", "tolerance", "progress")
        self.without(every(on_the_leg, wound), "start_wound_area_cm2")

    def _measure(self) -> None:
        self._set("ankle_pressure", self._higher("dorsalis_pedis_mmhg", "posterior_tibial_mmhg"))
        self._set("arm_pressure", self._higher("arm_pressure_left_mmhg", "arm_pressure_right_mmhg"))
        self._set("abpi", self._abpi())
        self._set("arterial_result", self._arterial_result())
        self._set("toe_brachial_index", self._over("toe_pressure_mmhg", "arm_pressure"))
        for measure, since in (
            ("arterial_test_age_days", "arterial_test_on"),
            ("days_at_current_tier", "current_tier_since"),
            ("days_since_start", "compression_started_on"),
            ("days_since_first_contact", "first_contact_on"),
        ):
            self._set(measure, self._days_since(since))
        self._set("area_reduction_percent", self._area_reduction())

    def _set(self, name: str, value: Value | None) -> None:
        if value is not None:
            self.known[name] = value

    def _higher(self, first: str, second: str) -> Value | None:
        pair = (self.of(first), self.of(second))
        if None in pair:
            return None
        if NOT_ASKED in pair:
            return NOT_ASKED
        numbers = [value for value in pair if isinstance(value, int | Fraction)]
        return max(numbers) if numbers else NOT_DONE

    def _over(self, upper: str, lower: str) -> Value | None:
        top, bottom = self.of(upper), self.of(lower)
        if NOT_ASKED in (top, bottom):
            return NOT_ASKED
        if NOT_DONE in (top, bottom):
            return NOT_DONE
        if isinstance(top, int | Fraction) and isinstance(bottom, int | Fraction):
            return Fraction(top) / Fraction(bottom)
        return None

    def _abpi(self) -> Value | None:
        availability = self.of("abpi_availability")
        if availability is None:
            return None
        if availability == "measured":
            return self._over("ankle_pressure", "arm_pressure")
        if availability == "reported":
            reported = self.of("reported_abpi")
            if not isinstance(reported, int | Fraction):
                return reported
            half = Fraction(5, 1000)
            return Fraction(reported) - half if reported < 1 else Fraction(reported) + half
        return NOT_ASKED

    def _arterial_result(self) -> Value | None:
        if self.of("abpi_availability") is None:
            return None
        incompressible = self.yes("ankle_not_compressible")
        if incompressible is True:
            return "incompressible"
        if incompressible is None:
            return None
        if (
            self.one_of("abpi_availability", "not_yet_done", "not_possible", "declined") is True
            or self.of("ankle_pressure") == NOT_DONE
            or (self.of("abpi_availability") == "measured" and self.of("arm_pressure") == NOT_DONE)
        ):
            return "none"
        return None if self.of("abpi") is None else "ratio"

    def _days_since(self, name: str) -> Value | None:
        since = self.of(name)
        return (self.today - since).days if isinstance(since, date) else since

    def _area_reduction(self) -> Value | None:
        parts = [self.of(name) for name in ("start_wound_area_cm2", "wound_length_cm", "wound_width_cm")]
        if NOT_ASKED in parts:
            return NOT_ASKED
        if NOT_DONE in parts:
            return NOT_DONE
        start, length, width = (
            Fraction(part) if isinstance(part, int | Fraction) else None for part in parts
        )
        if start is None or length is None or width is None:
            return None
        return (start - length * width) / start * 100


# What the rules conclude.


@dataclass(frozen=True, slots=True)
class Conclusion:
    """One row of the pathway, whether it applies, and what it concludes."""

    row: str
    state: State
    limit: int | None = None
    until: str | None = None
    review: Within | None = None
    arrange: Mapping[str, Within] = field(default_factory=dict)
    propose: int | None = None
    danger_sign: bool = False
    # The tier on the leg that the row speaks of, where it is a limit that is taken off at a good review.
    on_current_tier: int | None = None


def wounded(leg: Leg) -> State:
    """There is a wound."""
    return leg.other_than("wound", "none")


def established(leg: Leg) -> State:
    """Compression of `mild` or more has been on for at least a day and is tolerated."""
    return every(
        leg.one_of("current_tier", "mild", "moderate", "strong"),
        leg.between("days_at_current_tier", at_least=1),
        leg.one_of("tolerance", "good", "with_difficulty"),
    )


def arterial_sign(leg: Leg) -> State:
    """Something seen or heard that points to arterial disease."""
    return some(
        leg.yes("claudication"),
        leg.one_of("foot_pulses", "absent"),
        leg.one_of("doppler_sounds", "monophasic"),
        leg.yes("known_arterial_disease"),
        leg.between("toe_brachial_index", below=Fraction(7, 10)),
    )


def diabetes_or_kidney_disease(leg: Leg) -> State:
    """The arteries may be too stiff for a ratio to be trusted."""
    return some(leg.yes("diabetes"), leg.yes("chronic_kidney_disease"))


def danger_signs(leg: Leg) -> list[Conclusion]:
    """Rows that withhold compression at once and ask for a review the same day."""
    hot_foot = leg.yes("hot_swollen_foot")
    no_diabetes = leg.one_of("diabetes", False) is True
    rows: list[tuple[str, State, dict[str, Within]]] = [
        ("acute-ischaemia", leg.yes("acute_limb_ischaemia_signs"), {"on-call vascular team": TODAY}),
        (
            "limb-threat",
            some(
                leg.yes("limb_threat_pain"),
                leg.yes("gangrene_or_necrosis"),
                leg.one_of("sleeps_in_chair", "leg_pain_eased_by_hanging_down"),
                leg.one_of("pain_type", "ischaemic"),
            ),
            {"vascular team, urgent": days(7)},
        ),
        ("suspected-dvt", leg.yes("suspected_dvt"), {"DVT pathway": TODAY}),
        ("sepsis", leg.yes("signs_of_sepsis"), {"emergency care": TODAY}),
        (
            "acute-infection",
            every(leg.yes("acute_infection"), opposite(leg.yes("infection_treated_24h_and_well"))),
            {"treat the infection": TODAY, "look at the leg after infection": hours(48)},
        ),
        ("suspected-cancer", leg.yes("suspected_skin_cancer"), {"urgent cancer referral": TODAY}),
        ("bleeding-varix", leg.yes("bleeding_varicose_vein"), {"on-call vascular team": TODAY}),
        (
            "decompensated-heart",
            some(
                leg.one_of("heart_failure_status", "decompensated"),
                leg.one_of("nyha_class", "4"),
                leg.yes("breathless_at_rest_or_lying_flat"),
                leg.one_of("sleeps_in_chair", "breathlessness"),
                leg.between("weight_gain_kg_over_2_days", at_least=1),
            ),
            {"medical or heart-failure review": TODAY},
        ),
        (
            "hot-foot",
            hot_foot,
            {"medical assessment of the foot" if no_diabetes else "acute foot service": TODAY},
        ),
        ("acute-stroke", leg.yes("acute_stroke"), {"stroke team advice": TODAY}),
    ]
    return [
        Conclusion(row, state, WITHHOLD, None, TODAY, arrange, danger_sign=True)
        for row, state, arrange in rows
    ]


def withheld_until_somebody_agrees(leg: Leg) -> list[Conclusion]:
    """Rows that withhold and are not danger signs."""
    no_advice = leg.one_of("vascular_advice", "none")
    return [
        Conclusion(
            "foot-wound",
            every(
                leg.one_of("wound_site", "foot", "leg_and_foot"),
                leg.one_of("foot_service_advice", "not_sought", "advises_against"),
            ),
            WITHHOLD,
            "foot_service",
            hours(24),
            {"multidisciplinary foot service": ONE_WORKING_DAY},
        ),
        Conclusion(
            "bypass-graft",
            every(leg.one_of("arterial_graft_or_stent", "bypass_graft"), no_advice),
            WITHHOLD,
            "specialist_advice",
            hours(72),
            {"vascular opinion": hours(72)},
        ),
        Conclusion(
            "no-doppler-signal",
            every(leg.one_of("doppler_sounds", "absent"), no_advice),
            WITHHOLD,
            "specialist_advice",
            hours(24),
            {"vascular team, urgent": hours(24)},
        ),
        Conclusion(
            "end-of-life",
            leg.yes("end_of_life_care"),
            arrange={"input of the person's other clinicians": TODAY},
        ),
        Conclusion(
            "vascular-says-no",
            leg.one_of("vascular_advice", "no_compression"),
            WITHHOLD,
            review=days(7),
        ),
        Conclusion(
            "heart-team-says-no",
            leg.one_of("heart_failure_team_advice", "advises_against"),
            WITHHOLD,
            review=days(7),
        ),
        Conclusion(
            "neuropathy-says-no",
            leg.one_of("neuropathy_advice", "advises_against"),
            WITHHOLD,
            review=days(7),
        ),
    ]


def arterial_supply(leg: Leg) -> list[Conclusion]:
    """Rows that read the arterial numbers, and what they say of a leg with a ratio."""
    no_advice = leg.one_of("vascular_advice", "none")
    wound = wounded(leg)
    toe = "toe_pressure_mmhg"
    reduced = leg.between("abpi", at_least=Fraction(6, 10), below=Fraction(8, 10))
    normal = leg.between("abpi", at_least=Fraction(8, 10), at_most=Fraction(13, 10))
    stiff = diabetes_or_kidney_disease(leg)
    calcified = every(normal, no_advice, arterial_sign(leg))
    incompressible = every(
        some(
            leg.between("abpi", above=Fraction(13, 10)),
            leg.one_of("arterial_result", "incompressible"),
        ),
        no_advice,
    )
    tested = leg.one_of("arterial_result", "ratio", "incompressible")
    old = some(leg.between("arterial_test_age_days", above=84), leg.one_of("arterial_test_on", NOT_DONE))
    conclusions = [
        Conclusion(
            "severe-ischaemia",
            some(
                leg.between("abpi", below=Fraction(6, 10)),
                leg.between("ankle_pressure", below=60),
                leg.between(toe, below=30),
            ),
            WITHHOLD,
            None,
            hours(72),
            {"vascular team, urgent": days(7)},
        ),
        Conclusion(
            "critical-pressure",
            some(
                leg.between("abpi", at_most=Fraction(3, 10)),
                leg.between("ankle_pressure", below=50),
            ),
            WITHHOLD,
            None,
            TODAY,
            {"on-call vascular team": TODAY},
        ),
        Conclusion(
            "low-pressure-with-wound",
            every(
                wound, no_advice, some(leg.between("ankle_pressure", below=70), leg.between(toe, below=50))
            ),
            SUPPORT,
            "specialist_advice",
            hours(72),
            {"vascular team, urgent": days(7)},
        ),
        Conclusion("reduced-supply", reduced, MODERATE),
        Conclusion(
            "reduced-supply-no-advice",
            every(reduced, no_advice),
            SUPPORT,
            "specialist_advice",
            None,
            {"vascular opinion": hours(72), "vascular referral": days(14)},
        ),
        Conclusion(
            "normal-ratio-arterial-signs",
            calcified,
            MODERATE,
            "specialist_advice",
            None,
            {"vascular opinion": days(14)},
        ),
        Conclusion(
            "normal-ratio-calcified",
            every(calcified, stiff),
            MILD,
            "specialist_advice",
            None,
            {"toe pressure": days(7)},
        ),
        Conclusion(
            "normal-ratio-no-toe",
            every(normal, stiff, leg.one_of(toe, NOT_DONE)),
            arrange={"toe pressure": days(14)},
        ),
        Conclusion(
            "incompressible",
            incompressible,
            MILD,
            "specialist_advice",
            None,
            {"toe pressure": days(14)},
        ),
        Conclusion(
            "incompressible-stiff",
            every(incompressible, stiff),
            arrange={"toe pressure": days(7)},
        ),
        Conclusion(
            "old-test",
            every(
                tested,
                old,
                no_advice,
                leg.one_of("current_tier", "none", "withhold", "support", "mild"),
            ),
            MILD,
            "arterial_result",
            None,
            {"arterial test": days(14)},
        ),
        Conclusion(
            "old-test-kept",
            every(tested, old, leg.one_of("current_tier", "moderate", "strong")),
            arrange={"arterial test": days(28)},
        ),
        Conclusion(
            "stent",
            every(leg.one_of("arterial_graft_or_stent", "stent", "not_known"), no_advice),
            SUPPORT,
            "specialist_advice",
            None,
            {"vascular opinion": days(7)},
        ),
    ]
    conclusions += [
        Conclusion(f"advice-caps-{TIERS[tier]}", leg.one_of("vascular_advice", TIERS[tier]), tier)
        for tier in (SUPPORT, MILD, MODERATE)
    ]
    return conclusions


def not_measured(leg: Leg) -> list[Conclusion]:
    """Rows for a leg without an arterial result."""
    no_result = leg.one_of("arterial_result", "none")
    no_advice = leg.one_of("vascular_advice", "none")
    stiff = diabetes_or_kidney_disease(leg)
    return [
        Conclusion("not-measured", no_result, arrange={"full assessment": FOURTEEN_DAYS_OF_FIRST_CONTACT}),
        Conclusion(
            "not-measured-no-advice",
            every(no_result, no_advice),
            MILD,
            "arterial_result",
            None,
            {"full assessment": FOURTEEN_DAYS_OF_FIRST_CONTACT},
        ),
        Conclusion(
            "not-measured-overdue",
            every(no_result, leg.between("days_since_first_contact", above=14)),
            arrange={"full assessment": ONE_WORKING_DAY, "tell the named lead": ONE_WORKING_DAY},
        ),
        Conclusion(
            "not-measured-arterial-signs",
            every(no_result, no_advice, arterial_sign(leg)),
            SUPPORT,
            "arterial_result",
            None,
            {"full assessment": days(7)},
        ),
        Conclusion(
            "not-measured-cautious",
            every(
                no_result,
                no_advice,
                some(
                    leg.one_of("sensation", "reduced"),
                    leg.one_of("can_report_problems", "no"),
                    every(stiff, leg.one_of("doppler_sounds", NOT_DONE)),
                ),
            ),
            SUPPORT,
            "arterial_result",
            hours(72),
            {"full assessment": days(7)},
        ),
        Conclusion(
            "not-measured-risk",
            every(no_result, some(stiff, leg.between("age_years", above=75))),
            review=hours(72),
            arrange={"full assessment": days(7)},
        ),
    ]


def sensation(leg: Leg) -> list[Conclusion]:
    """Rows for a leg that may not feel harm."""
    return [
        Conclusion(
            "no-protective-sensation",
            every(leg.one_of("sensation", "absent"), leg.one_of("neuropathy_advice", "not_sought")),
            SUPPORT,
            "neuropathy_advice",
            None,
            {"neuropathy advice": days(7)},
        ),
        Conclusion("no-protective-sensation-agreed", leg.one_of("neuropathy_advice", "agrees"), MILD),
        Conclusion(
            "reduced-sensation",
            every(leg.one_of("sensation", "reduced"), opposite(established(leg))),
            MILD,
            "good_review",
            hours(48),
        ),
    ]


def heart(leg: Leg) -> list[Conclusion]:
    """Rows for heart failure that does not withhold compression."""
    stable = leg.one_of("heart_failure_status", "stable")
    unclear = leg.one_of("heart_failure_status", "suspected", "not_known")
    third_class = leg.one_of("nyha_class", "3", "not_known")
    not_sought = leg.one_of("heart_failure_team_advice", "not_sought")
    agrees = leg.one_of("heart_failure_team_advice", "agrees")
    first = opposite(established(leg))
    return [
        Conclusion(
            "hf-stable-mild",
            every(stable, leg.one_of("nyha_class", "1", "2"), first),
            MILD,
            "good_review",
            hours(48),
        ),
        Conclusion(
            "hf-stable-nyha3",
            every(stable, third_class, not_sought),
            SUPPORT,
            "heart_team",
            hours(48),
            {"heart-failure team's view": days(7)},
        ),
        Conclusion(
            "hf-stable-nyha3-agreed",
            every(stable, third_class, agrees, first),
            MILD,
            "good_review",
            hours(48),
        ),
        Conclusion(
            "hf-suspected",
            every(unclear, not_sought),
            SUPPORT,
            "heart_assessed",
            hours(48),
            {"doctor's assessment of the heart": days(7)},
        ),
        Conclusion(
            "hf-suspected-agreed",
            every(unclear, agrees),
            MILD,
            "heart_assessed",
            days(7),
            {"result of the heart assessment": days(14)},
        ),
    ]


def proposals(leg: Leg) -> list[Conclusion]:
    """Rows that propose a tier."""
    on_the_leg = leg.one_of("wound_site", "leg", "leg_and_foot")
    kept = [
        Conclusion(
            f"goal-keep-{TIERS[tier]}",
            every(leg.yes("long_term_compression"), leg.one_of("current_tier", TIERS[tier])),
            propose=tier,
        )
        for tier in (MILD, MODERATE, STRONG)
    ]
    return [
        Conclusion(
            "goal-swelling", some(leg.other_than("oedema", "none"), leg.yes("leaking")), propose=STRONG
        ),
        Conclusion("goal-ulcer", every(leg.one_of("wound", "leg_ulcer"), on_the_leg), propose=STRONG),
        Conclusion(
            "goal-wound",
            every(leg.one_of("wound", "erosions", "traumatic_wound"), on_the_leg),
            propose=MILD,
        ),
        *kept,
    ]


def hard_to_bear(leg: Leg) -> State:
    """Anything that asks for one tier at a time from `mild`."""
    return some(
        leg.one_of("heart_failure_status", "stable"),
        leg.one_of("sensation", "reduced"),
        leg.one_of("can_report_problems", "no"),
        leg.one_of("inflammatory_cause", "vasculitis", "sickle_cell", "pyoderma"),
        leg.one_of("pain_type", "neuropathic", "mixed"),
        leg.between("pain_score", at_least=7),
    )


def one_tier_at_a_time(leg: Leg, on_the_leg: State) -> Conclusion:
    """The limit on a leg with `mild` on, given whether `mild` is what is on."""
    return Conclusion(
        "one-tier-at-a-time",
        every(on_the_leg, hard_to_bear(leg)),
        MODERATE,
        "good_review",
        on_current_tier=MILD,
    )


def steps_and_tolerance(leg: Leg) -> list[Conclusion]:
    """Rows for the first application, steps and tolerance."""
    first = opposite(established(leg))
    inflammatory = "inflammatory_cause"
    worsening = leg.yes("rapidly_worsening_wound")
    cannot_report = leg.one_of("can_report_problems", "no")
    conclusions = [
        Conclusion(
            "pain-first",
            every(
                first,
                some(
                    leg.between("pain_score", at_least=7),
                    leg.one_of("pain_type", "neuropathic", "mixed"),
                    every(leg.yes("wet_eczema"), leg.other_than("pain_type", "none")),
                    leg.one_of(inflammatory, "vasculitis", "sickle_cell", "pyoderma"),
                ),
            ),
            MILD,
            "good_review",
        ),
        Conclusion(
            "worsening-first",
            every(first, worsening),
            MILD,
            "good_review",
            None,
            {"specialist for a worsening wound": days(7)},
        ),
        Conclusion(
            "worsening-inflammatory",
            every(worsening, leg.one_of(inflammatory, "vasculitis", "pyoderma")),
            SUPPORT,
            None,
            hours(48),
            {"specialist for the cause": hours(72)},
        ),
        Conclusion(
            "inflammatory-referral",
            leg.other_than(inflammatory, "none"),
            arrange={"specialist for the cause": days(7)},
        ),
        Conclusion(
            "cannot-report",
            every(first, cannot_report),
            MILD,
            "good_review",
            hours(24),
            {"somebody to look at the toes daily": TODAY},
        ),
        Conclusion(
            "infection-settling",
            every(first, leg.yes("infection_treated_24h_and_well")),
            MILD,
            "good_review",
            hours(48),
        ),
        Conclusion(
            "chair-unexplained",
            leg.one_of("sleeps_in_chair", "reason_not_known"),
            SUPPORT,
            "reason_known",
            hours(48),
            {"reason for sleeping in a chair": hours(48)},
        ),
        one_tier_at_a_time(leg, leg.one_of("current_tier", "mild")),
        Conclusion(
            "support-too-long",
            every(leg.one_of("current_tier", "support"), leg.between("days_at_current_tier", at_least=7)),
            arrange={"named lead's decision": ONE_WORKING_DAY},
        ),
    ]
    conclusions += [
        Conclusion(
            f"not-tolerated-{TIERS[tier]}",
            every(leg.one_of("tolerance", "not_tolerated"), leg.one_of("current_tier", TIERS[tier])),
            tier - 1,
            "tolerated",
            hours(48),
            {"reason it is not tolerated": hours(48)},
        )
        for tier in (SUPPORT, MILD, MODERATE, STRONG)
    ]
    conclusions += [
        Conclusion(
            f"with-difficulty-{TIERS[tier]}",
            every(leg.one_of("tolerance", "with_difficulty"), leg.one_of("current_tier", TIERS[tier])),
            tier,
            "tolerated",
            days(7),
            {"reason it is not tolerated": days(7)},
        )
        for tier in (SUPPORT, MILD, MODERATE)
    ]
    return conclusions


def reviews(leg: Leg) -> list[Conclusion]:
    """Rows that shorten the review or refer a leg that makes no progress."""
    stalled = leg.one_of("progress", "no_change", "worse")
    slow: Mapping[str, Within] = {"leg-ulcer or tissue-viability service": days(7)}
    started, area = "days_since_start", "area_reduction_percent"
    return [
        Conclusion("wet-review", some(leg.one_of("exudate", "high"), leg.yes("leaking")), review=hours(48)),
        Conclusion(
            "slow-14",
            every(leg.between(started, at_least=14, below=28), leg.between(area, below=25)),
            arrange=slow,
        ),
        Conclusion(
            "slow-28", every(leg.between(started, at_least=28), leg.between(area, below=40)), arrange=slow
        ),
        Conclusion(
            "slow-84",
            every(leg.between(started, at_least=84), some(stalled, leg.between(area, below=40))),
            arrange={"reassess and refer": days(7), "arterial test": days(14)},
        ),
        Conclusion(
            "mild-14",
            every(
                leg.one_of("current_tier", "mild"),
                leg.between("days_at_current_tier", at_least=14),
                some(stalled, leg.between(area, below=25)),
            ),
            arrange={"settle what holds it at mild": ONE_WORKING_DAY},
        ),
        Conclusion(
            "venous-referral",
            every(
                leg.one_of("wound", "leg_ulcer"),
                leg.one_of("wound_site", "leg", "leg_and_foot"),
                leg.between("wound_weeks", at_least=2),
                leg.between("abpi", at_least=Fraction(8, 10), at_most=Fraction(13, 10)),
                leg.one_of("inflammatory_cause", "none"),
            ),
            arrange={"vascular service (veins)": days(14)},
        ),
        Conclusion(
            "lymphoedema-referral",
            some(
                leg.yes("shape_distorted"),
                leg.yes("toes_swollen"),
                leg.one_of("oedema", "above_knee"),
                every(leg.yes("leaking"), leg.between(started, at_least=28)),
            ),
            arrange={"lymphoedema service": days(28)},
        ),
        Conclusion(
            "unexplained-swelling",
            every(leg.between("oedema_months", at_least=3), opposite(leg.yes("long_term_compression"))),
            arrange={"cause of the swelling": days(28)},
        ),
    ]


def conclude(leg: Leg) -> list[Conclusion]:
    """Every row of the pathway."""
    return [
        *danger_signs(leg),
        *withheld_until_somebody_agrees(leg),
        *arterial_supply(leg),
        *not_measured(leg),
        *sensation(leg),
        *heart(leg),
        *proposals(leg),
        *steps_and_tolerance(leg),
        *reviews(leg),
    ]


# How the conclusions combine.


@dataclass(frozen=True, slots=True)
class Lifting:
    """A limit that is lifted in a step, what lifts it, and by when."""

    tier: str
    lift: str
    by: date


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the plan."""

    from_tier: str
    to_tier: str
    liftings: frozenset[Lifting]


@dataclass(frozen=True, slots=True)
class PlainDecision:
    """What the pathway concludes for one leg."""

    tier: str
    highest_possible_tier: str
    target_tier: str
    disposition: str
    review_on: date
    review_days: int
    no_working_day: bool
    limits: Mapping[tuple[str, str | None], bool]  # whether one of them applies
    arrangements: Mapping[str, date]
    plan: tuple[Step, ...]
    danger_sign: bool


def decide_leg(answers: Answers, today: date, calendar: Calendar) -> PlainDecision:
    """The decision for one leg from the answers of the person and of this leg."""
    leg = Leg(answers, today)
    rows = conclude(leg)
    limits = [row for row in rows if row.limit is not None and row.state is not False]
    applying = [row.limit for row in limits if row.state and row.limit is not None]
    permanent = [row.limit for row in limits if row.state and not row.until and row.limit is not None]
    proposed = [row.propose for row in rows if row.propose is not None and row.state]
    perhaps = [row.propose for row in rows if row.propose is not None and row.state is not False]

    tier = min([max(proposed, default=WITHHOLD), *(row.limit for row in limits if row.limit is not None)])
    highest = min([max(perhaps, default=WITHHOLD), *applying])
    target = min([max(perhaps, default=WITHHOLD), *permanent])

    current = leg.of("current_tier")
    now = None if current is None else WITHHOLD if current == "none" else TIERS.index(str(current))
    disposition = dispose(WITHHOLD in applying, bool(perhaps), now, tier, highest)

    interval = review_interval(rows, disposition, tier, highest, target)
    end = today + timedelta(days=interval)
    working_day = today if interval == 0 else calendar.last_working_day(today, end)
    review_on = end if working_day is None else working_day

    chased = disposition == "continue" and tier == SUPPORT
    deadlines = arrangement_deadlines(rows, leg, calendar, chased)
    return PlainDecision(
        tier=TIERS[tier],
        highest_possible_tier=TIERS[highest],
        target_tier=TIERS[target],
        disposition=disposition,
        review_on=review_on,
        review_days=interval,
        no_working_day=working_day is None,
        limits={
            (TIERS[row.limit], row.until): any(
                other.state is True
                for other in limits
                if (other.limit, other.until) == (row.limit, row.until)
            )
            for row in limits
            if row.limit is not None
        },
        arrangements=deadlines,
        plan=step_up_plan(leg, rows, tier, target, review_on, deadlines),
        danger_sign=any(row.danger_sign and row.state for row in rows),
    )


def dispose(withheld: bool, indicated: bool, now: int | None, lowest: int, highest: int) -> str:
    """The first row of the disposition table that fits."""
    if withheld:
        return "stop_and_escalate"
    if not indicated:
        return "not_indicated"
    if lowest == WITHHOLD or now is None:
        return "cannot_decide_yet"
    if now == WITHHOLD:
        return "start"
    if lowest < now <= highest:
        return "cannot_decide_yet"
    if now == SUPPORT and lowest == SUPPORT and highest > SUPPORT:
        return "cannot_decide_yet"
    if lowest < now:
        return "step_down"
    return "continue" if lowest == now else "step_up"


def review_interval(
    rows: Sequence[Conclusion], disposition: str, lowest: int, highest: int, target: int
) -> int:
    """Days until somebody must look again: the earliest interval that counts."""
    intervals = [row.review.amount for row in rows if row.review is not None and row.state is not False]
    intervals.append(28)
    if disposition == "cannot_decide_yet":
        intervals.append(1)
    if lowest == SUPPORT:
        intervals.append(2)
    if disposition in {"start", "step_up", "step_down"} or lowest != highest:
        intervals.append(3)
    if disposition == "stop_and_escalate" or lowest < target:
        intervals.append(7)
    return min(intervals)


def deadline(within: Within, leg: Leg, calendar: Calendar) -> date:
    """The day of one arrangement's deadline."""
    if within.kind == "working_days":
        return calendar.next_working_day(leg.today)
    if within.kind == "first_contact":
        first = leg.of("first_contact_on")
        due = first + timedelta(days=within.amount) if isinstance(first, date) else None
        if due is None or due < leg.today:
            return calendar.next_working_day(leg.today)
    else:
        due = leg.today + timedelta(days=within.amount)
    return calendar.last_working_day(leg.today, due) or due


def arrangement_deadlines(
    rows: Sequence[Conclusion], leg: Leg, calendar: Calendar, chased: bool
) -> dict[str, date]:
    """Every arrangement of a row that applies, with its earliest deadline."""
    deadlines: dict[str, date] = {}
    for row in rows:
        if not row.state:
            continue
        holds = chased and row.limit == SUPPORT and row.until is not None
        for what, within in row.arrange.items():
            dates = [deadline(within, leg, calendar)]
            if holds:
                dates.append(deadline(ONE_WORKING_DAY, leg, calendar))
            if what in deadlines:
                dates.append(deadlines[what])
            deadlines[what] = min(dates)
    return deadlines


@dataclass(frozen=True, slots=True)
class Held:
    """A limit below the target that something can lift."""

    row: str
    tier: int
    lift: str
    by: date


def step_up_plan(
    leg: Leg,
    rows: Sequence[Conclusion],
    tier: int,
    target: int,
    review_on: date,
    deadlines: Mapping[str, date],
) -> tuple[Step, ...]:
    """The steps from the tier to the target: what lifts the limits of each, and by when."""
    held: list[Held] = []
    surely = max((row.propose for row in rows if row.propose is not None and row.state), default=WITHHOLD)
    for row in rows:
        if row.state is None and row.propose is not None and surely < min(row.propose, target):
            # Only an answer can take the leg above what is surely proposed.
            held.append(Held(row.row, surely, "answer", leg.today))
        if row.state is False or row.limit is None or row.limit >= target:
            continue
        if row.state is None:
            held.append(Held(row.row, row.limit, "answer", leg.today))
        elif row.until == "good_review":
            held.append(Held(row.row, row.limit, row.until, review_on))
        elif row.until is not None:
            held.append(Held(row.row, row.limit, row.until, min(deadlines[what] for what in row.arrange)))
    steps: list[Step] = []
    level = tier
    while level < target:
        # What will hold the leg once it is at this level is not lifted by getting there.
        coming = one_tier_at_a_time(leg, level == MILD)
        again: list[Held] = []
        if coming.state is not False and target > MODERATE:
            again = [Held(coming.row, MODERATE, "good_review", review_on)]
            held = [limit for limit in held if limit.row != coming.row]
        lifts = {limit.lift for limit in held if limit.tier <= level}
        going = [limit for limit in held if limit.lift in lifts]
        held = [limit for limit in held if limit.lift not in lifts] + again
        following = min([target, *(limit.tier for limit in held)])
        assert following > level
        steps.append(
            Step(
                TIERS[level],
                TIERS[following],
                frozenset(Lifting(TIERS[limit.tier], limit.lift, limit.by) for limit in going),
            )
        )
        level = following
    return tuple(steps)


# Two legs.


def person_of(legs: Sequence[PlainDecision]) -> tuple[str, date, bool]:
    """The most urgent disposition, the earliest review, and whether one leg waits for the other's danger."""
    dispositions = [leg.disposition for leg in legs]
    waits = any(leg.danger_sign and leg.disposition == "stop_and_escalate" for leg in legs) and any(
        disposition in {"start", "step_up"} for disposition in dispositions
    )
    return min(dispositions, key=URGENCY.index), min(leg.review_on for leg in legs), waits
