"""Which kinds of material fit the leg and the tier, and what each would deliver and need.

The pressure estimate explains; it never chooses or unlocks a tier. It is not read by any rule.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction

from limbtier.domain.assessment import Answer
from limbtier.domain.decision import AvoidedMaterial, ChosenMaterial, PressureEstimate
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.prepared import Counting, PreparedEdition
from limbtier.measures.bandage import rolls, skin_of_series_cm2
from limbtier.measures.interface_pressure import girth_over_bulk_cm

# What an even layer of one millimetre adds to a girth, in cm; thickness and girth are proportional.
BULK_OF_ONE_MM = float(girth_over_bulk_cm(Fraction(0), Fraction(1)))


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
    rules, choices = prepared.edition.rules, prepared.choices[tier]
    for place, state in counting.items():
        for name in rules[place].then.avoid:
            avoided.setdefault(name, []).append(rules[place].id)
        if state == APPLIES:
            for name in choices[place]:
                chosen.setdefault(name, []).append(rules[place].id)
    serving = [name for name in chosen if name not in avoided]
    skin = None
    series = facts.get("girth_series_cm")
    if serving and isinstance(series, tuple):
        skin = skin_of_series_cm2([_binary(girth) for girth in series], _binary(girth_interval_cm))
    ankle, calf = _girths_over_bulk(facts) if serving else (None, None)
    return (
        tuple(
            ChosenMaterial(
                name=name,
                rules=tuple(chosen[name]),
                estimate=_estimate(prepared.pressures.get(name), ankle, calf),
                length_cm=(length := _length_cm(prepared.lengths.get(name), skin)),
                rolls=_rolls(prepared.rolls.get(name), length),
            )
            for name in serving
        ),
        tuple(AvoidedMaterial(name, tuple(places)) for name, places in avoided.items()),
    )


# What follows is an estimate for people, which no rule reads, so that binary numbers will do.


def _girths_over_bulk(facts: Mapping[str, Answer]) -> tuple[float | None, float | None]:
    """The ankle and calf girths that a bandage goes round: with the dressing, where it was measured."""
    thickness = facts.get("dressing_thickness_mm")
    bulk = BULK_OF_ONE_MM * _binary(thickness) if type(thickness) is Fraction else 0.0
    ankle, calf = facts.get("ankle_girth_cm"), facts.get("calf_girth_cm")
    return (
        _binary(ankle) + bulk if type(ankle) is Fraction else None,
        _binary(calf) + bulk if type(calf) is Fraction else None,
    )


def _binary(value: Fraction) -> float:
    return value.numerator / value.denominator


def _estimate(pressure: float | None, ankle: float | None, calf: float | None) -> PressureEstimate | None:
    """At each girth that was measured, in whole mmHg."""
    if pressure is None or (ankle is None and calf is None):
        return None
    return PressureEstimate(
        None if ankle is None else int(pressure / ankle + 0.5),
        None if calf is None else int(pressure / calf + 0.5),
    )


def _length_cm(length: float | None, skin: float | None) -> int | None:
    return None if length is None or skin is None else math.ceil(length * skin)


def _rolls(roll_length: float | None, length_cm: int | None) -> int | None:
    return None if length_cm is None or roll_length is None else rolls(float(length_cm), roll_length)
