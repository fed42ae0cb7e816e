"""Which kinds of material fit the leg and the tier, and what each would deliver and need.

The pressure estimate explains; it never chooses or unlocks a tier. It is not read by any rule.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction

from limbtier.domain.assessment import Answer
from limbtier.domain.decision import AvoidedMaterial, ChosenMaterial, PressureEstimate
from limbtier.domain.edition import Material
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.prepared import Counting, PreparedEdition
from limbtier.measures.bandage import bandage_length_cm, rolls, skin_of_series_cm2
from limbtier.measures.interface_pressure import interface_pressure_mmhg
from limbtier.measures.rounding import show


def materials(
    prepared: PreparedEdition,
    counting: Counting,
    tier: str,
    facts: Mapping[str, Answer],
    girth_interval_cm: Fraction,
) -> tuple[tuple[ChosenMaterial, ...], tuple[AvoidedMaterial, ...]]:
    """Chosen by a rule that applies, and serving the tier; out when any rule avoids it, also undetermined."""
    chosen: dict[str, list[str]] = {}
    avoided: dict[str, list[str]] = {}
    for place, state in counting.items():
        rule = prepared.edition.rules[place]
        for name in rule.then.avoid:
            avoided.setdefault(name, []).append(rule.id)
        if state == APPLIES:
            for name in rule.then.choose:
                chosen.setdefault(name, []).append(rule.id)
    entries = prepared.edition.materials
    return (
        tuple(
            _chosen(entries[name], tuple(rules), facts, girth_interval_cm)
            for name, rules in chosen.items()
            if name not in avoided and tier in entries[name].tiers
        ),
        tuple(AvoidedMaterial(name, tuple(rules)) for name, rules in avoided.items()),
    )


def _chosen(
    material: Material, chosen_by: tuple[str, ...], facts: Mapping[str, Answer], interval_cm: Fraction
) -> ChosenMaterial:
    length = _length_cm(material, facts, interval_cm)
    rolls_needed = None
    if length is not None and material.roll_length_cm is not None:
        rolls_needed = rolls(length, material.roll_length_cm)
    return ChosenMaterial(
        name=material.name,
        rules=chosen_by,
        estimate=_estimate(material, facts),
        length_cm=None if length is None else math.ceil(length),
        rolls=rolls_needed,
    )


def _estimate(material: Material, facts: Mapping[str, Answer]) -> PressureEstimate | None:
    """At each girth that was measured, with the bulk of the dressing where that was measured too."""
    if material.layers is None or material.tension_kgf is None or material.width_cm is None:
        return None
    bulk = facts.get("dressing_thickness_mm")

    def at(name: str) -> int | None:
        girth = facts.get(name)
        if not isinstance(girth, Fraction):
            return None
        pressure = interface_pressure_mmhg(
            layers=Fraction(material.layers or 0),
            tension_kgf=material.tension_kgf or Fraction(0),
            girth_cm=girth,
            width_cm=material.width_cm or Fraction(0),
            bulk_mm=bulk if isinstance(bulk, Fraction) else Fraction(0),
        )
        return int(show(pressure, 0))

    estimate = PressureEstimate(at("ankle_girth_cm"), at("calf_girth_cm"))
    return None if estimate.ankle_mmhg is None and estimate.calf_mmhg is None else estimate


def _length_cm(material: Material, facts: Mapping[str, Answer], interval_cm: Fraction) -> Fraction | None:
    """The length of bandage for the stretch of leg whose girths were taken."""
    girths = facts.get("girth_series_cm")
    if not isinstance(girths, tuple) or material.width_cm is None or material.overlap is None:
        return None
    return bandage_length_cm(skin_of_series_cm2(girths, interval_cm), material.width_cm, material.overlap)
