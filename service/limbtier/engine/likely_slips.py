"""What looks like a slip beside the history of an episode: a unit mixed up, two legs swapped.

Nothing is changed by it. It is asked about, and whoever is right says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from limbtier.domain.assessment import SIDES, Answer, Side
from limbtier.domain.episode_state import EpisodeState, Given, LimbState
from limbtier.domain.pathway import Plausibility
from limbtier.foundation.diagnostics import Diagnostic, pointer

_GIRTHS = ("ankle_girth_cm", "calf_girth_cm", "girth_series_cm")
Sizes = Mapping[str, tuple[Fraction, ...]]


@dataclass(frozen=True, slots=True)
class Slip:
    """Something to confirm, by its name; `where` points into the request."""

    name: str
    code: str
    message: str
    advice: str
    where: str

    def diagnostic(self) -> Diagnostic:
        """The question to the caller."""
        advice = f"{self.advice} If it is right, send `{self.name}` in the list `confirmed`."
        return Diagnostic(self.code, self.message, advice, self.where)


def likely_slips(
    state: EpisodeState, marks: Plausibility, day: date, limbs: Mapping[Side, Mapping[str, Answer]]
) -> Iterator[Slip]:
    """What to ask about in the answers of the legs, `limbs`, of a contact on a day."""
    swapped = _swapped(state, marks, limbs)
    if swapped is not None:
        yield swapped
        return
    for side, answers in limbs.items():
        leg = state.limbs.get(side)
        if leg is None:
            continue
        yield from _area(side, leg, marks, day, answers)
        yield from _girths(side, leg, marks, day, answers)


def _area(
    side: Side, leg: LimbState, marks: Plausibility, day: date, answers: Mapping[str, Answer]
) -> Iterator[Slip]:
    length, width, last = answers.get("wound_length_cm"), answers.get("wound_width_cm"), leg.last_area
    if last is None or not isinstance(length, Fraction) or not isinstance(width, Fraction):
        return
    before = _number(last)
    if not before or (day - last.on).days > marks.area_days:
        return
    now = length * width
    if now >= before * marks.area_factor or now * marks.area_factor <= before:
        message = f"The wound of the {side} leg measures {_shown(now)} cm2; on {last.on} it was "
        message += f"{_shown(before)} cm2."
        advice = "Check the unit (centimetres, not millimetres) and the leg."
        where = pointer("limbs", side, "wound_length_cm")
        yield Slip(f"{side}/area-out-of-step", "area-out-of-step", message, advice, where)


def _girths(
    side: Side, leg: LimbState, marks: Plausibility, day: date, answers: Mapping[str, Answer]
) -> Iterator[Slip]:
    now, last = _sizes(answers), _last_sizes(leg)
    for name, (given_on, before) in last.items():
        if name not in now or (day - given_on).days > marks.girth_days or len(now[name]) != len(before):
            continue
        factor = marks.girth_factor
        if any(
            one >= two * factor or one * factor <= two for one, two in zip(now[name], before, strict=True)
        ):
            message = (
                f"`{name}` of the {side} leg differs by a factor of {_shown(factor)} or more from that of "
            )
            message += f"{given_on}."
            where = pointer("limbs", side, name)
            advice = "Check the unit, the marks and the leg."
            yield Slip(f"{side}/girth-out-of-step", "girth-out-of-step", message, advice, where)
            return


def _swapped(
    state: EpisodeState, marks: Plausibility, limbs: Mapping[Side, Mapping[str, Answer]]
) -> Slip | None:
    """Whether the girths of each leg assessed are those of the other leg, as they were measured last."""
    if not all(side in state.limbs for side in SIDES) or not limbs:
        return None
    last = {
        side: {name: sizes for name, (_, sizes) in _last_sizes(state.limbs[side]).items()} for side in SIDES
    }
    for side, answers in limbs.items():
        other: Side = "right" if side == "left" else "left"
        now = _sizes(answers)
        near, apart = _distance(now, last[other]), _distance(now, last[side])
        if near is None or apart is None:
            return None
        if near > marks.swapped_within_cm or apart <= marks.swapped_apart_cm:
            return None
    legs = "The legs" if len(limbs) > 1 else f"The {next(iter(limbs))} leg"
    message = f"{legs} may be swapped: the girths are those that the other leg had last."
    return Slip("limbs-look-swapped", "limbs-look-swapped", message, "Check which leg is which.", "/limbs")


def _distance(now: Sizes, before: Sizes) -> Fraction | None:
    """How far girths are from others on average, in cm; None where none can be compared."""
    pairs = [
        (one, two)
        for name, sizes in now.items()
        if name in before and len(sizes) == len(before[name])
        for one, two in zip(sizes, before[name], strict=True)
    ]
    return sum((abs(one - two) for one, two in pairs), Fraction(0)) / len(pairs) if pairs else None


def _sizes(answers: Mapping[str, Answer]) -> dict[str, tuple[Fraction, ...]]:
    found: dict[str, tuple[Fraction, ...]] = {}
    for name in _GIRTHS:
        value = answers.get(name)
        if isinstance(value, Fraction):
            found[name] = (value,)
        elif isinstance(value, tuple):
            found[name] = value
    return found


def _last_sizes(leg: LimbState) -> dict[str, tuple[date, tuple[Fraction, ...]]]:
    found: dict[str, tuple[date, tuple[Fraction, ...]]] = {}
    for name, given in zip(_GIRTHS, (leg.last_ankle, leg.last_calf, leg.last_girths), strict=True):
        if given is None or given.value == "not_done":
            continue
        values = (given.value,) if isinstance(given.value, str) else given.value
        found[name] = given.on, tuple(Fraction(value) for value in values)
    return found


def _number(given: Given) -> Fraction | None:
    return None if given.value == "not_done" else Fraction(str(given.value))


def _shown(number: Fraction) -> str:
    return f"{float(number):g}"
