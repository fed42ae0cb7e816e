"""Generated small editions: invented questions that hang on one another, the questions that measures need,
rules in strata with every sort of conclusion, and guard rails. The same seed gives the same edition."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.edition import Edition
from limbtier.domain.interval import Interval
from limbtier.domain.rule import (
    Arrange,
    Conclusions,
    GuardCheck,
    GuardRail,
    GuardRails,
    Limit,
    Requirement,
    Rule,
)
from limbtier.domain.vocabulary import Choice, DerivedFact, Input, Range, Vocabulary
from limbtier.engine.matcher import MatcherPool
from limbtier.engine.prepared import PreparedEdition, prepare

FACTS = ("noticed", "settled")
# Questions of the core vocabulary that measures are computed from.
MEASURED = (
    "arm_pressure_left_mmhg",
    "arm_pressure_right_mmhg",
    "abpi_availability",
    "dorsalis_pedis_mmhg",
    "posterior_tibial_mmhg",
    "ankle_not_compressible",
    "reported_abpi",
    "toe_pressure_mmhg",
    "wound",
    "wound_length_cm",
    "wound_width_cm",
    "girth_series_cm",
    "first_contact_on",
    "current_tier",
    "current_tier_since",
    "compression_started_on",
    "start_wound_area_cm2",
    "start_girth_series_cm",
)
MEASURES = (
    "ankle_pressure",
    "arm_difference_mmhg",
    "abpi",
    "toe_brachial_index",
    "wound_area_cm2",
    "area_reduction_percent",
    "limb_volume_change_percent",
    "days_at_current_tier",
    "days_since_start",
    "days_since_first_contact",
)
EDGES = {
    "ankle_pressure": (50, 60, 70),
    "arm_difference_mmhg": (0, 10),
    "abpi": (Fraction("0.8"), Fraction("1.3"), Fraction("0.795")),
    "toe_brachial_index": (Fraction("0.7"),),
    "wound_area_cm2": (1, Fraction("12.5")),
    "area_reduction_percent": (0, 25, 40),
    "limb_volume_change_percent": (-8, 8),
    "days_at_current_tier": (1, 7),
    "days_since_start": (14, 28),
    "days_since_first_contact": (14,),
}
INTERVALS = (
    Interval("immediately"),
    Interval("same_day"),
    Interval("hours", 48),
    Interval("days", 7),
    Interval("working_days", 1),
    Interval("days_of_first_contact", 14),
)
REVIEWS = (Interval("same_day"), Interval("hours", 24), Interval("hours", 48), Interval("days", 7))


def generated(seed: int, frame: PreparedEdition) -> PreparedEdition:
    """An edition with its guard rails; tiers, settings, materials and words are those of the frame."""
    chance = random.Random(seed)
    vocabulary = _vocabulary(chance, frame.edition.vocabulary)
    rules, strata = _rules(chance, vocabulary, frame.edition)
    edition = replace(
        frame.edition, vocabulary=vocabulary, rules=tuple(rules), strata=tuple(strata), cases=()
    )
    rails = GuardRails("0.0.0", "", tuple(_rail(chance, vocabulary, number) for number in range(4)))
    return prepare(edition, rails, MatcherPool)


def _vocabulary(chance: random.Random, core: Vocabulary) -> Vocabulary:
    invented = [
        _input(chance, "person", "tired", "flag"),
        _input(chance, "person", "colour", "choice"),
        _input(chance, "person", "weight", "number"),
        _input(chance, "limb", "size", "choice"),
        _input(chance, "limb", "steps", "whole_number"),
        _input(chance, "limb", "sore", "flag"),
    ]
    inputs: dict[str, Input] = {}
    for entry in invented:
        earlier = [one for one in inputs.values() if one.scope == "person" or entry.scope == "limb"]
        if earlier and chance.random() < 0.6:
            entry = replace(entry, asked_when=_condition(chance, earlier, ()))  # noqa: PLW2901
        inputs[entry.name] = entry
    for name in MEASURED:
        inputs[name] = core.inputs[name]
    facts = {name: DerivedFact(name, name) for name in FACTS}
    return Vocabulary(inputs, core.measures, facts, core.lifts)


def _input(chance: random.Random, scope: str, name: str, kind: str) -> Input:
    choices = tuple(Choice(value, value) for value in ("red", "green", "absent", "given"))
    places = 1 if kind == "number" else 0
    return Input(
        name=name,
        scope=scope,  # type: ignore[arg-type]
        kind=kind,  # type: ignore[arg-type]
        question=f"What of {name}?",
        help="",
        group="",
        unit=None,
        choices=choices if kind == "choice" else (),
        may_be_not_done=chance.random() < 0.5,
        range=Range(Fraction(0), Fraction(100)) if kind in ("number", "whole_number") else Range(),
        expected=Range(),
        places=places,
        asked_when=None,
        danger_sign=False,
    )


def _rules(chance: random.Random, vocabulary: Vocabulary, frame: Edition) -> tuple[list[Rule], list[int]]:
    rules: list[Rule] = []
    strata: list[int] = []
    inputs = list(vocabulary.inputs.values())
    for stratum in range(3):
        for place in range(chance.randint(3, 6)):
            classify = (FACTS[stratum],) if stratum < 2 and (place == 0 or chance.random() < 0.3) else ()
            when = _condition(chance, inputs, FACTS[:stratum])
            then = _conclusions(chance, frame, classify)
            rules.append(Rule(f"rule-{len(rules)}", "", when, then, "", (), "", "", len(rules)))
            strata.append(stratum)
    return rules, strata


def _conclusions(chance: random.Random, frame: Edition, classify: tuple[str, ...]) -> Conclusions:
    tiers = [tier.name for tier in frame.tiers]
    materials = list(frame.materials)
    until = chance.choice((None, None, "specialist_advice", "tolerated", "good_review"))
    arrange = tuple(
        Arrange(what, chance.choice(INTERVALS))
        for what in chance.sample(list(frame.arrangements)[:4], chance.choice((0, 0, 1, 2)))
    )
    return Conclusions(
        propose=chance.choice(tiers) if chance.random() < 0.4 else None,
        limit=Limit(chance.choice(tiers), until) if chance.random() < 0.5 else None,
        review=chance.choice(REVIEWS) if chance.random() < 0.3 else None,
        arrange=arrange,
        classify=classify,
        choose=tuple(chance.sample(materials, chance.choice((0, 1, 3)))),
        avoid=tuple(chance.sample(materials, chance.choice((0, 0, 2)))),
        caution=("Take care.",) if chance.random() < 0.2 else (),
    )


def _condition(
    chance: random.Random, inputs: Sequence[Input], facts: Sequence[str], depth: int = 2
) -> Condition:
    if depth and chance.random() < 0.6:
        kind = chance.choice((AllOf, AnyOf, AnyOf, NoneOf))
        parts = [_condition(chance, inputs, facts, depth - 1) for _ in range(chance.randint(1, 3))]
        return kind(tuple(parts))
    if facts and chance.random() < 0.4:
        return ValueTest(chance.choice(facts), chance.choice((("yes",), ("no",), ("yes", "no"))))
    computed = any(entry.name == "wound" for entry in inputs)
    if computed and chance.random() < 0.3:
        return _edges(chance, name := chance.choice(MEASURES), [Fraction(edge) for edge in EDGES[name]])
    if computed and chance.random() < 0.1:
        return ValueTest("arterial_result", tuple(chance.sample(("ratio", "incompressible", "none"), 2)))
    entry = chance.choice(inputs)
    if entry.kind in ("number", "whole_number") and chance.random() < 0.8:
        beside = Fraction(25, 2) if entry.places else Fraction(12)
        return _edges(chance, entry.name, [Fraction(0), beside, Fraction(60), Fraction(100)])
    values = entry.values() or ("not_done",)
    return ValueTest(entry.name, tuple(chance.sample(values, chance.randint(1, min(2, len(values))))))


def _edges(chance: random.Random, name: str, edges: Sequence[Fraction]) -> EdgeTest:
    low, high = sorted((chance.choice(edges), chance.choice(edges)))
    match chance.randint(0, 3):
        case 0:
            return EdgeTest(name, at_least=low)
        case 1:
            return EdgeTest(name, above=low)
        case 2:
            return EdgeTest(name, below=high)
        case _:
            return EdgeTest(name, at_least=low, at_most=high)


def _rail(chance: random.Random, vocabulary: Vocabulary, number: int) -> GuardRail:
    when = _condition(chance, list(vocabulary.inputs.values()), FACTS)
    require = chance.choice(
        (
            Requirement(tier_at_most=chance.choice(("withhold", "support", "mild", "moderate"))),
            Requirement(disposition=chance.choice(DISPOSITIONS)),
            Requirement(review_within=chance.choice(REVIEWS)),
            Requirement(no_avoided_material=True),
        )
    )
    tiers = ("mild", "strong") if chance.random() < 0.3 else ()
    dispositions = ("start", "continue") if chance.random() < 0.3 else ()
    return GuardRail(f"rail-{number}", "", (GuardCheck(when, dispositions, tiers, require),), None)
