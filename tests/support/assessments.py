"""Generated assessments of any edition: every answer, also none, with numbers on and beside every edge."""

from __future__ import annotations

import random
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

from limbtier.domain.assessment import Answer, Assessment, Side
from limbtier.domain.condition import EdgeTest, tests
from limbtier.domain.vocabulary import Input, Scope
from limbtier.engine.interpreter import DOES_NOT_APPLY, truth
from limbtier.engine.prepared import PreparedEdition

MOMENT = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
# Answers that hold nobody back, so that most generated assessments get past the danger signs.
CALM: Mapping[str, tuple[str, ...]] = {
    "heart_failure_status": ("none", "stable"),
    "nyha_class": ("1", "2", "3"),
    "sleeps_in_chair": ("no", "habit_or_mobility"),
    "wound": ("none", "erosions", "leg_ulcer", "traumatic_wound"),
    "wound_site": ("leg",),
    "doppler_sounds": ("multiphasic", "not_done", "monophasic"),
    "vascular_advice": ("none", "none", "mild", "moderate", "strong"),
    "heart_failure_team_advice": ("not_sought", "agrees"),
    "foot_service_advice": ("agrees",),
    "neuropathy_advice": ("agrees", "not_sought"),
    "arterial_graft_or_stent": ("no",),
    "pain_type": ("none", "nociceptive", "neuropathic", "mixed", "not_known"),
    "sensation": ("intact", "intact", "reduced"),
}
ALLOWED_YES = ("diabetes", "leaking", "long_term_compression", "wet_eczema", "infection_treated_24h_and_well")
CALM_NUMBERS: Mapping[str, tuple[int, int]] = {
    "dorsalis_pedis_mmhg": (80, 200),
    "posterior_tibial_mmhg": (80, 200),
    "arm_pressure_left_mmhg": (110, 160),
    "arm_pressure_right_mmhg": (110, 160),
    "toe_pressure_mmhg": (50, 140),
}


class AssessmentMaker:
    """Makes answers for the inputs of one edition."""

    def __init__(self, prepared: PreparedEdition) -> None:
        self.prepared = prepared
        self._edges: dict[str, set[Fraction]] = {}
        conditions = [rule.when for rule in prepared.edition.rules]
        conditions += [check.when for rail in prepared.guard_rails.rails for check in rail.checks]
        for condition in conditions:
            for test in tests(condition):
                if isinstance(test, EdgeTest):
                    edges = (test.at_least, test.above, test.at_most, test.below)
                    self._edges.setdefault(test.name, set()).update(
                        edge for edge in edges if edge is not None
                    )

    def make(self, seed: int) -> Assessment:
        """An assessment of the left leg; the same seed gives the same."""
        chance = random.Random(seed)
        calm = chance.choice((0.5, 0.95, 0.99, 1.0, 1.0))
        recorded = chance.choice((0.5, 0.95, 0.99, 1.0, 1.0))
        person = self._answers(chance, "person", {}, calm, recorded)
        limb = self._answers(chance, "limb", person, calm, recorded)
        return assessment(self.prepared, person, limb)

    def _answers(
        self, chance: random.Random, scope: Scope, facts: Mapping[str, Answer], calm: float, recorded: float
    ) -> dict[str, Answer]:
        answers: dict[str, Answer] = {}
        for entry in self.prepared.edition.vocabulary.of_scope(scope):
            known = {**facts, **answers}
            asked = entry.asked_when is None or truth(entry.asked_when, known) != DOES_NOT_APPLY
            if asked and chance.random() < recorded:
                answers[entry.name] = self._answer(chance, entry, calm)
            elif not asked:
                answers[entry.name] = "not_asked"
        started, since = answers.get("compression_started_on"), answers.get("current_tier_since")
        if isinstance(started, date) and isinstance(since, date) and since < started:
            answers["current_tier_since"] = started
        return {name: answer for name, answer in answers.items() if answer != "not_asked"}

    def _answer(self, chance: random.Random, entry: Input, calm: float) -> Answer:
        if entry.may_be_not_done and chance.random() < 0.15:
            return "not_done"
        calmly = chance.random() < calm
        match entry.kind:
            case "flag":
                if entry.name in ALLOWED_YES:
                    return chance.choice(("yes", "no"))
                return "no" if calmly or chance.random() < 0.5 else "yes"
            case "choice":
                values = CALM.get(entry.name) if calmly else None
                return chance.choice(values or tuple(choice.value for choice in entry.choices))
            case "date":
                return MOMENT.date() - timedelta(
                    days=chance.choice((0, 1, 2, 7, 13, 14, 15, 27, 28, 84, 85, 200))
                )
            case "number_series":
                return tuple(Fraction(chance.randint(200, 600), 10) for _ in range(chance.randint(2, 8)))
            case _:
                return self._number(chance, entry, calmly)

    def _number(self, chance: random.Random, entry: Input, calmly: bool) -> Fraction:
        low = entry.range.at_least if entry.range.at_least is not None else Fraction(0)
        high = entry.range.at_most if entry.range.at_most is not None else Fraction(1000)
        step = Fraction(1, 10**entry.places)
        edges = sorted(self._edges.get(entry.name, ()))
        if entry.name in CALM_NUMBERS and calmly:
            return Fraction(chance.randint(*CALM_NUMBERS[entry.name]))
        if edges and chance.random() < 0.5:
            value = chance.choice(edges) + chance.choice((-step, Fraction(0), step))
        elif entry.name == "reported_abpi":
            value = Fraction(chance.choice((49, 50, 51, 59, 60, 61, 79, 80, 81, 100, 129, 130, 131)), 100)
        else:
            value = low + step * chance.randint(0, int((high - low) / step))
        return min(max(value, low), high)


def assessment(
    prepared: PreparedEdition, person: Mapping[str, Answer], limb: Mapping[str, Answer], side: Side = "left"
) -> Assessment:
    """An assessment of one leg from answers; questions whose condition is false are marked not asked."""
    of_person, of_limb = dict(person), dict(limb)
    contradictions = prepared.answers.complete(of_person, "person", {}, ["person"])
    contradictions += prepared.answers.complete(of_limb, "limb", of_person, ["limbs", side])
    if contradictions:
        raise ValueError("; ".join(item.message for item in contradictions))
    return Assessment(MOMENT, "england", None, None, of_person, {side: of_limb}, {})


def given(answers: Mapping[str, Answer]) -> dict[str, Answer]:
    """The answers that somebody gave, without what was marked not asked."""
    return {name: answer for name, answer in answers.items() if answer != "not_asked"}
