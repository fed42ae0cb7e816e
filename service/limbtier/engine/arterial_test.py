"""Whether answers of a leg come to an arterial result, as every decision reads it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from fractions import Fraction
from typing import Final

from limbtier.domain.assessment import Answer
from limbtier.domain.episode_state import Given, KeptGroup, Stored
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
_RESULTS: Final = ("ratio", "incompressible")
_MEASURES: Final = (
    ("ankle_pressure", ankle_pressure),
    ("arm_pressure", arm_pressure),
    ("abpi", abpi),
    ("arterial_result", arterial_result),
)


def comes_to_result(kept: Mapping[str, Given]) -> bool:
    """Whether the kept answers come to a ratio, or say that the artery cannot be compressed. A test that was
    begun does not: an ankle pressure without an arm pressure leaves decisions without an arterial result."""
    return _result({name: one.value for name, one in kept.items()}) in _RESULTS


def hides_result(
    group: KeptGroup, kept: Mapping[str, Given], given: Mapping[str, Stored], *, form: bool = False
) -> bool:
    """Whether an ankle-brachial test, `given` with the answers of the person, would take the place of the
    kept one and might hide what that one showed: it comes to no ratio where the kept one does, or nobody
    knows its day. The same test answered once more hides nothing. In a `form` that is being filled in, what
    is not there yet may still come."""
    if group.dated_by is None or all(
        name in kept and kept[name].value == given[name] for name in group.inputs if name in given
    ):
        return False
    dated, result = given.get(group.dated_by), _result(given)
    if form:
        hidden = dated == NOT_DONE or result == "none"
    else:
        hidden = dated in (None, NOT_DONE) or result not in _RESULTS
    return hidden and comes_to_result(kept)


def _result(given: Mapping[str, Stored]) -> Answer | None:
    answers: dict[str, Answer] = {}
    for name in (*_WORDS, *_NUMBERS):
        value = given.get(name)
        if isinstance(value, str):
            answers[name] = Fraction(value) if name in _NUMBERS and value != NOT_DONE else value
    for name, compute in _MEASURES:
        found = compute(answers, date.min, {})
        if found is not None:
            answers[name] = found
    return answers.get("arterial_result")
