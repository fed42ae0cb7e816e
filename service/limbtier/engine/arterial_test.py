"""Whether what is kept of a leg comes to an arterial result, as every decision reads it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from fractions import Fraction
from typing import Final

from limbtier.domain.assessment import Answer
from limbtier.domain.episode_state import Given
from limbtier.foundation.answer_states import NOT_DONE
from limbtier.measures.arterial import abpi, ankle_pressure, arm_pressure, arterial_result

_WORDS: Final = ("abpi_availability", "ankle_not_compressible")
_NUMBERS: Final = (
    "dorsalis_pedis_mmhg",
    "posterior_tibial_mmhg",
    "arm_pressure_left_mmhg",
    "arm_pressure_right_mmhg",
    "reported_abpi",
)
_MEASURES: Final = (
    ("ankle_pressure", ankle_pressure),
    ("arm_pressure", arm_pressure),
    ("abpi", abpi),
    ("arterial_result", arterial_result),
)


def comes_to_result(kept: Mapping[str, Given]) -> bool:
    """Whether the kept answers come to a ratio, or say that the artery cannot be compressed. A test that was
    begun does not: an ankle pressure without an arm pressure leaves decisions without an arterial result."""
    answers: dict[str, Answer] = {}
    for name in (*_WORDS, *_NUMBERS):
        value = kept[name].value if name in kept else None
        if isinstance(value, str):
            answers[name] = Fraction(value) if name in _NUMBERS and value != NOT_DONE else value
    for name, compute in _MEASURES:
        found = compute(answers, date.min, {})
        if found is not None:
            answers[name] = found
    return answers.get("arterial_result") in ("ratio", "incompressible")
