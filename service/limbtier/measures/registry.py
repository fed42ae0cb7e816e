"""Every measure an edition may use, in dependency order, and how all of them are computed for one limb.

A measure is undetermined while an ingredient that could still change it is not recorded, `not_done` when
one that it cannot do without is not done, `not_asked` when its question is not asked. Once determined, no
further answer changes it, and withdrawing an answer either leaves it or makes it undetermined. A
measurement that cannot be (a negative length, an arm pressure of zero) is refused where answers are read;
should one get here, what rests on it is undetermined, the cautious reading.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Final, Literal

from limbtier.foundation.answer_states import NOT_DONE
from limbtier.measures import arterial, limb_volume, wound
from limbtier.measures.states import Answer, days_between, state_of

Compute = Callable[[Mapping[str, Answer], date, Mapping[str, Fraction]], Answer | None]

_INTERVAL: Final = "girth_interval_cm"
_GIRTHS: Final = "girth_series_cm"
_START_GIRTHS: Final = "start_girth_series_cm"


@dataclass(frozen=True, slots=True)
class Measure:
    """One computed value. `ingredients` are the inputs and earlier measures it reads, and nothing else.

    `compute(answers, assessed_on, settings)` gives its value, `not_done`, `not_asked`, or None when it is
    undetermined; `answers` hold the person's and the limb's answers and the earlier measures. `choices` are
    the values of a measure of kind `choice`, `unit` that of a number (None: a ratio).
    """

    name: str
    kind: Literal["number", "choice"]
    choices: tuple[str, ...]
    unit: str | None
    ingredients: tuple[str, ...]
    compute: Compute


def compute_measures(
    answers: Mapping[str, Answer], assessed_on: date, settings: Mapping[str, Fraction]
) -> dict[str, Answer]:
    """All measures of one limb; one that is undetermined is absent.

    `answers` hold the person's and the limb's inputs together, `not_asked` filled in. Raises KeyError when a
    girth series is given and the setting `girth_interval_cm` is not, ValueError when that is not above zero.
    """
    known = dict(answers)
    found: dict[str, Answer] = {}
    for name, compute in _COMPUTED:
        value = compute(known, assessed_on, settings)
        if value is not None:
            known[name] = found[name] = value
    return found


def _days_since(name: str) -> Compute:
    """Whole days from the date recorded under `name` to the day of the assessment."""

    def compute(
        answers: Mapping[str, Answer], assessed_on: date, _settings: Mapping[str, Fraction]
    ) -> Answer | None:
        return days_between(answers.get(name), assessed_on)

    return compute


def _wound_area(
    answers: Mapping[str, Answer], _day: date, _settings: Mapping[str, Fraction]
) -> Answer | None:
    """Length times width: the one method for every wound (see `wound`)."""
    length, width = answers.get("wound_length_cm"), answers.get("wound_width_cm")
    if type(length) is Fraction and type(width) is Fraction:
        try:
            return wound.area_cm2(length, width)
        except ValueError:
            return None
    return state_of(length, width)


def _area_reduction(
    answers: Mapping[str, Answer], _day: date, _settings: Mapping[str, Fraction]
) -> Answer | None:
    """From the area when compression started. A start of zero has no percentage: not done."""
    start, now = answers.get("start_wound_area_cm2"), answers.get("wound_area_cm2")
    if type(start) is Fraction:
        if start.numerator <= 0:
            return NOT_DONE
        if type(now) is Fraction:
            return wound.area_reduction_percent(start, now)
    # An area not done settles it only once the question of the start area is known to be asked.
    elif start is None and "current_tier" not in answers:
        return None
    return state_of(start, now)


def _volume_of(name: str) -> Compute:
    """Volume of the girth series recorded under `name`."""

    def compute(answers: Mapping[str, Answer], _day: date, settings: Mapping[str, Fraction]) -> Answer | None:
        girths = answers.get(name)
        if not isinstance(girths, tuple):
            return state_of(girths)
        if any(girth.numerator < 0 for girth in girths):
            return None
        return limb_volume.limb_volume_ml(girths, settings[_INTERVAL]) if len(girths) > 1 else NOT_DONE

    return compute


def _volume_change(
    answers: Mapping[str, Answer], _day: date, _settings: Mapping[str, Fraction]
) -> Answer | None:
    """Series of different length do not cover the same stretch of the limb: not done."""
    start, now = answers.get(_START_GIRTHS), answers.get(_GIRTHS)
    if isinstance(start, tuple) and isinstance(now, tuple) and len(start) != len(now):
        return NOT_DONE
    start, now = answers.get("start_limb_volume_ml"), answers.get("limb_volume_ml")
    if type(start) is Fraction:
        if start.numerator <= 0:
            return NOT_DONE
        if type(now) is Fraction:
            return limb_volume.volume_change_percent(start, now)
    return state_of(start, now)


def _number(name: str, unit: str | None, ingredients: tuple[str, ...], compute: Compute) -> Measure:
    return Measure(name, "number", (), unit, ingredients, compute)


_ARMS: Final = ("arm_pressure_left_mmhg", "arm_pressure_right_mmhg")
_ON_TIER_SINCE: Final = "current_tier_since"

MEASURES: Final[tuple[Measure, ...]] = (
    _number(
        "ankle_pressure", "mmHg", ("dorsalis_pedis_mmhg", "posterior_tibial_mmhg"), arterial.ankle_pressure
    ),
    _number("arm_pressure", "mmHg", _ARMS, arterial.arm_pressure),
    _number("arm_difference_mmhg", "mmHg", _ARMS, arterial.arm_difference),
    _number(
        "abpi", None, ("abpi_availability", "ankle_pressure", "arm_pressure", "reported_abpi"), arterial.abpi
    ),
    Measure(
        "arterial_result",
        "choice",
        ("ratio", "incompressible", "none"),
        None,
        ("abpi_availability", "ankle_not_compressible", "abpi"),
        arterial.arterial_result,
    ),
    _number("arterial_test_age_days", "days", ("arterial_test_on",), _days_since("arterial_test_on")),
    _number("toe_brachial_index", None, ("toe_pressure_mmhg", "arm_pressure"), arterial.toe_brachial_index),
    _number("wound_area_cm2", "cm2", ("wound_length_cm", "wound_width_cm"), _wound_area),
    _number(
        "area_reduction_percent",
        "%",
        ("start_wound_area_cm2", "wound_area_cm2", "current_tier"),
        _area_reduction,
    ),
    _number("limb_volume_ml", "ml", (_GIRTHS,), _volume_of(_GIRTHS)),
    _number("start_limb_volume_ml", "ml", (_START_GIRTHS,), _volume_of(_START_GIRTHS)),
    _number(
        "limb_volume_change_percent",
        "%",
        (_START_GIRTHS, _GIRTHS, "start_limb_volume_ml", "limb_volume_ml"),
        _volume_change,
    ),
    _number("days_at_current_tier", "days", (_ON_TIER_SINCE,), _days_since(_ON_TIER_SINCE)),
    _number("days_since_start", "days", ("compression_started_on",), _days_since("compression_started_on")),
    _number("days_since_first_contact", "days", ("first_contact_on",), _days_since("first_contact_on")),
)

_COMPUTED: Final = tuple((measure.name, measure.compute) for measure in MEASURES)
