"""Arterial measures of one leg: ankle and arm pressure, ABPI, toe-brachial index, and what is known at all.

Ankle-brachial pressure index: the higher of the dorsalis pedis and posterior tibial systolic pressures of
the leg over the higher brachial systolic pressure of both arms, for both legs. Source: Vowden and Vowden,
hand-held Doppler assessment (2004 print); NHS Wales venous leg ulceration page. Toe-brachial index: toe
systolic pressure over the higher brachial pressure. Ratios have no unit and are never rounded here.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from fractions import Fraction
from typing import Final

from limbtier.foundation.answer_states import NOT_ASKED
from limbtier.measures.states import Answer, difference, higher, quotient, state_of

_HALF_OF_THE_LAST_PLACE: Final = Fraction(5, 1000)
_NO_TEST: Final = frozenset({"not_yet_done", "not_possible", "declined"})


def ankle_pressure(
    answers: Mapping[str, Answer], _day: date, _settings: Mapping[str, Fraction]
) -> Answer | None:
    """The higher of both ankle arteries (mmHg), from the two pressures alone."""
    return higher(answers.get("dorsalis_pedis_mmhg"), answers.get("posterior_tibial_mmhg"))


def arm_pressure(
    answers: Mapping[str, Answer], _day: date, _settings: Mapping[str, Fraction]
) -> Answer | None:
    """The higher of both arms (mmHg)."""
    return higher(answers.get("arm_pressure_left_mmhg"), answers.get("arm_pressure_right_mmhg"))


def arm_difference(
    answers: Mapping[str, Answer], _day: date, _settings: Mapping[str, Fraction]
) -> Answer | None:
    """How far apart the arms are (mmHg, never negative); not done when either arm is."""
    left, right = answers.get("arm_pressure_left_mmhg"), answers.get("arm_pressure_right_mmhg")
    if type(left) is Fraction and type(right) is Fraction:
        return difference(left, right)
    return state_of(left, right)


def abpi(answers: Mapping[str, Answer], _day: date, _settings: Mapping[str, Fraction]) -> Answer | None:
    """Measured: ankle over arm pressure, exact. Reported: read 0.005 to the cautious side, because it was
    rounded to two places: lower when below 1, otherwise higher. Not asked where there is no test."""
    availability = answers.get("abpi_availability")
    if availability == "measured":
        return _ratio(answers.get("ankle_pressure"), answers.get("arm_pressure"))
    if availability == "reported":
        reported = answers.get("reported_abpi")
        if type(reported) is not Fraction:
            return state_of(reported)
        if reported.numerator < reported.denominator:
            return reported - _HALF_OF_THE_LAST_PLACE
        return reported + _HALF_OF_THE_LAST_PLACE
    return None if availability is None else NOT_ASKED


def arterial_result(
    answers: Mapping[str, Answer], _day: date, _settings: Mapping[str, Fraction]
) -> Answer | None:
    """What the numbers say is known: `ratio`, `incompressible` or `none`; never the claim that they exist."""
    availability = answers.get("abpi_availability")
    if availability is None:
        return None
    if availability in _NO_TEST:
        return "none"
    if availability == "measured":
        not_compressible = answers.get("ankle_not_compressible")
        if not_compressible == "yes":
            return "incompressible"
        if not_compressible != "no":
            return None
    ratio = answers.get("abpi")
    if ratio is None:
        return None
    return "ratio" if type(ratio) is Fraction else "none"


def toe_brachial_index(
    answers: Mapping[str, Answer], _day: date, _settings: Mapping[str, Fraction]
) -> Answer | None:
    """Toe pressure over the higher arm pressure, exact."""
    return _ratio(answers.get("toe_pressure_mmhg"), answers.get("arm_pressure"))


def _ratio(pressure: Answer | None, arm: Answer | None) -> Answer | None:
    """A pressure over the arm pressure. An arm pressure of zero, which no range should let in, divides
    nothing: undetermined, the cautious reading."""
    if type(pressure) is Fraction and type(arm) is Fraction:
        return quotient(pressure, arm) if arm.numerator > 0 else None
    return state_of(pressure, arm)
