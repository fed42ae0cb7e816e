"""Which kinds of material fit the leg and the tier, and what each would deliver and need.

The pressure estimate explains; it never chooses or unlocks a tier. It is not read by any rule.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

from limbtier.domain.assessment import Answer
from limbtier.domain.decision import AvoidedMaterial, ChosenMaterial, PressureEstimate
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.prepared import Counting, MaterialEstimates, PreparedEdition
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
    ids, avoids, choices = prepared.rule_ids, prepared.avoids, prepared.choices[tier]
    for place, state in counting.items():
        for name in avoids[place]:
            avoided.setdefault(name, []).append(ids[place])
        if state == APPLIES:
            for name in choices[place]:
                chosen.setdefault(name, []).append(ids[place])
    serving = [name for name in chosen if name not in avoided]
    leg = _leg(facts, girth_interval_cm) if serving else _UNKNOWN
    return (
        tuple([_chosen(name, chosen[name], prepared.estimates[name], leg) for name in serving]),
        tuple([AvoidedMaterial(name, tuple(rules)) for name, rules in avoided.items()]),
    )


# What follows is an estimate for people, which no rule reads, so that binary numbers will do.


class _Leg(NamedTuple):
    """The girths that a bandage goes round, with the dressing where it was measured (cm), and the skin that
    it covers (cm2); None where it is not known."""

    ankle: float | None
    calf: float | None
    skin: float | None


_UNKNOWN = _Leg(None, None, None)


def _leg(facts: Mapping[str, Answer], girth_interval_cm: Fraction) -> _Leg:
    thickness = facts.get("dressing_thickness_mm")
    bulk = BULK_OF_ONE_MM * _binary(thickness) if type(thickness) is Fraction else 0.0
    ankle, calf = facts.get("ankle_girth_cm"), facts.get("calf_girth_cm")
    series = facts.get("girth_series_cm")
    return _Leg(
        _binary(ankle) + bulk if type(ankle) is Fraction else None,
        _binary(calf) + bulk if type(calf) is Fraction else None,
        skin_of_series_cm2([_binary(girth) for girth in series], _binary(girth_interval_cm))
        if type(series) is tuple
        else None,
    )


def _binary(value: Fraction) -> float:
    top, bottom = value.as_integer_ratio()
    return top / bottom


def _chosen(name: str, rules: list[str], of: MaterialEstimates, leg: _Leg) -> ChosenMaterial:
    """Pressure at each girth that was measured in whole mmHg; length in whole cm."""
    ankle, calf, skin = leg
    estimate = length = None
    if of.pressure is not None and (ankle is not None or calf is not None):
        estimate = PressureEstimate(
            None if ankle is None else int(of.pressure / ankle + 0.5),
            None if calf is None else int(of.pressure / calf + 0.5),
        )
    if of.length is not None and skin is not None:
        length = math.ceil(of.length * skin)
    needed = None if length is None or of.roll is None else rolls(float(length), of.roll)
    return ChosenMaterial(name, tuple(rules), estimate, length, needed)
