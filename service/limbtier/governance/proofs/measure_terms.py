"""Every measure of the registry as a term: what it is for all answers at once.

Each function mirrors the measure of the same name in `limbtier.measures`, state by state; the tests compare
both. A measure without a function here is an error, never skipped.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from limbtier.foundation.answer_states import NOT_ASKED, NOT_DONE
from limbtier.governance.proofs.formulas import Expression, Formula, all_of, any_of, either, exact, negated
from limbtier.governance.proofs.requests import Domain, Request, SentAnswer
from limbtier.governance.proofs.terms import NEVER_RECORDED, EitherNumber, Number, Term, unsupported
from limbtier.measures.limb_volume import PI
from limbtier.measures.registry import MEASURES

_NO_TEST: Final = ("not_yet_done", "not_possible", "declined")
_HALF_OF_THE_LAST_PLACE: Final = Fraction(5, 1000)


@dataclass(frozen=True, slots=True)
class Ingredients:
    """What measures are computed from: terms by name, the request, numbers of the settings."""

    terms: Mapping[str, Term]
    request: Request
    settings: Mapping[str, Fraction]
    domain: Domain

    def term(self, name: str) -> Term:
        """The term of an input or an earlier measure; one that nobody asks for is never recorded."""
        return self.terms.get(name, NEVER_RECORDED)

    def sent(self, name: str, *kinds: str) -> SentAnswer | None:
        """What is sent for an input, which must be of one of these kinds; None where nobody asks for it."""
        sent = self.request.get(name) if name in self.terms else None
        if sent is not None and sent.entry.kind not in kinds:
            raise unsupported(f"`{name}` is of kind {sent.entry.kind}, and a measure needs another.")
        return sent


def measure_terms(ingredients: Ingredients) -> dict[str, Term]:
    """The term of every measure, in dependency order."""
    known = dict(ingredients.terms)
    found: dict[str, Term] = {}
    for measure in MEASURES:
        make = FORMULAS.get(measure.name)
        if make is None:
            raise unsupported(f"The measure `{measure.name}` has no formula.")
        inputs = Ingredients(known, ingredients.request, ingredients.settings, ingredients.domain)
        known[measure.name] = found[measure.name] = make(inputs)
    return found


def _term(number: Number | EitherNumber | None, is_number: Formula, words: Mapping[str, Formula]) -> Term:
    """A term that is undetermined wherever it is neither the number nor one of the words."""
    unknown = negated(any_of((is_number, *words.values())))
    return Term(unknown, words, is_number, number)


def _forced(*terms: Term) -> dict[str, Formula]:
    """The state that ingredients which cannot be done without force on a measure."""
    not_asked = any_of(term.word(NOT_ASKED) for term in terms)
    not_done = all_of((any_of(term.word(NOT_DONE) for term in terms), negated(not_asked)))
    return {NOT_ASKED: not_asked, NOT_DONE: not_done}


def _number_of(term: Term, name: str) -> Number:
    if isinstance(term.number, Number):
        return term.number
    if term is NEVER_RECORDED:
        return Number(0, 1)
    raise unsupported(f"`{name}` is needed as one number.")


def _higher(first_name: str, second_name: str) -> Callable[[Ingredients], Term]:
    def make(inputs: Ingredients) -> Term:
        first, second = inputs.term(first_name), inputs.term(second_name)
        one, other = _number_of(first, first_name), _number_of(second, second_name)
        both = all_of((first.is_number, second.is_number))
        only_first = all_of((first.is_number, second.word(NOT_DONE)))
        only_second = all_of((first.word(NOT_DONE), second.is_number))
        known = all_of((negated(first.unknown), negated(second.unknown)))
        not_asked = all_of((known, any_of((first.word(NOT_ASKED), second.word(NOT_ASKED)))))
        not_done = all_of((first.word(NOT_DONE), second.word(NOT_DONE)))
        left, right = one.top * other.bottom, other.top * one.bottom
        higher = either(only_first, left, either(only_second, right, _greater(left, right)))
        return _term(
            Number(higher, one.bottom * other.bottom),
            any_of((both, only_first, only_second)),
            {NOT_ASKED: not_asked, NOT_DONE: not_done},
        )

    return make


def _greater(left: Expression, right: Expression) -> Expression:
    return either(left >= right, left, right)


def _arm_difference(inputs: Ingredients) -> Term:
    names = ("arm_pressure_left_mmhg", "arm_pressure_right_mmhg")
    left, right = (inputs.term(name) for name in names)
    one, other = (_number_of(inputs.term(name), name) for name in names)
    difference = one.top * other.bottom - other.top * one.bottom
    apart = either(difference >= 0, difference, -difference)
    return _term(
        Number(apart, one.bottom * other.bottom),
        all_of((left.is_number, right.is_number)),
        _forced(left, right),
    )


def _ratio(pressure: Term, arm: Term, name: str) -> Term:
    """A pressure over the arm pressure; an arm pressure that is not above zero divides nothing."""
    over, under = _number_of(pressure, name), _number_of(arm, "arm_pressure")
    numbers = all_of((pressure.is_number, arm.is_number))
    divides = all_of((numbers, under.top > 0))
    return _term(Number(over.top * under.bottom, under.top * over.bottom), divides, _forced(pressure, arm))


def _abpi(inputs: Ingredients) -> Term:
    availability, reported = inputs.term("abpi_availability"), inputs.term("reported_abpi")
    measured_ratio = _ratio(inputs.term("ankle_pressure"), inputs.term("arm_pressure"), "ankle_pressure")
    is_measured, is_reported = availability.word("measured"), availability.word("reported")
    number = _number_of(reported, "reported_abpi")
    half = _HALF_OF_THE_LAST_PLACE
    read_lower = number.top * half.denominator - half.numerator * number.bottom
    read_higher = number.top * half.denominator + half.numerator * number.bottom
    cautious = Number(
        either(number.top < number.bottom, read_lower, read_higher), number.bottom * half.denominator
    )
    without = all_of((availability.is_text, negated(is_measured), negated(is_reported)))
    forced = {
        state: any_of(
            (all_of((is_measured, measured_ratio.word(state))), all_of((is_reported, reported.word(state))))
        )
        for state in (NOT_ASKED, NOT_DONE)
    }
    return _term(
        EitherNumber(is_measured, _number_of(measured_ratio, "abpi"), cautious),
        any_of(
            (
                all_of((is_measured, measured_ratio.is_number)),
                all_of((is_reported, reported.is_number)),
            )
        ),
        {**forced, NOT_ASKED: any_of((forced[NOT_ASKED], without))},
    )


def _arterial_result(inputs: Ingredients) -> Term:
    availability, ratio = inputs.term("abpi_availability"), inputs.term("abpi")
    not_compressible = inputs.term("ankle_not_compressible")
    no_test = any_of(availability.word(word) for word in _NO_TEST)
    measured = availability.word("measured")
    read_ratio = any_of(
        (
            all_of((measured, not_compressible.word("no"))),
            all_of((availability.is_text, negated(measured), negated(no_test))),
        )
    )
    return _term(
        None,
        False,
        {
            "ratio": all_of((read_ratio, ratio.is_number)),
            "incompressible": all_of((measured, not_compressible.word("yes"))),
            "none": any_of((no_test, all_of((read_ratio, ratio.is_text)))),
        },
    )


def _days_since(name: str) -> Callable[[Ingredients], Term]:
    def make(inputs: Ingredients) -> Term:
        sent, term = inputs.sent(name, "date"), inputs.term(name)
        if sent is None:
            return NEVER_RECORDED
        return _term(sent.number, sent.given, term.words)

    return make


def _toe_brachial_index(inputs: Ingredients) -> Term:
    return _ratio(inputs.term("toe_pressure_mmhg"), inputs.term("arm_pressure"), "toe_pressure_mmhg")


def _wound_area(inputs: Ingredients) -> Term:
    names = ("wound_length_cm", "wound_width_cm")
    length, width = (inputs.sent(name, "number", "whole_number") for name in names)
    if length is None or width is None:
        return NEVER_RECORDED
    return _term(
        inputs.domain.product(length, width),
        all_of((length.given, width.given)),
        _forced(*(inputs.term(name) for name in names)),
    )


def _area_reduction(inputs: Ingredients) -> Term:
    start, now = inputs.term("start_wound_area_cm2"), inputs.term("wound_area_cm2")
    tier = inputs.term("current_tier")
    before, area = _number_of(start, "start_wound_area_cm2"), _number_of(now, "wound_area_cm2")
    nothing = all_of((start.is_number, before.top <= 0))
    something = all_of((start.is_number, before.top > 0))
    not_yet = all_of((start.unknown, tier.unknown))
    number = all_of((something, now.is_number))
    forced = {
        state: all_of((holds, negated(not_yet), negated(nothing), negated(number)))
        for state, holds in _forced(start, now).items()
    }
    return _term(
        _percent(area, before, negative_when_less=False),
        number,
        {**forced, NOT_DONE: any_of((forced[NOT_DONE], nothing))},
    )


def _percent(now: Number, before: Number, *, negative_when_less: bool) -> Number:
    """The change from `before`, which is above zero, in percent of it; at least one bottom is plain."""
    start, end = before.top * now.bottom, now.top * before.bottom
    return Number(100 * ((end - start) if negative_when_less else (start - end)), start)


def _volume_of(name: str) -> Callable[[Ingredients], Term]:
    def make(inputs: Ingredients) -> Term:
        sent, term = inputs.sent(name, "number_series"), inputs.term(name)
        if sent is None or sent.series is None:
            return NEVER_RECORDED
        interval = inputs.settings.get("girth_interval_cm")
        if interval is None or interval <= 0:
            raise unsupported("The setting `girth_interval_cm` is not above zero.")
        cone = exact(interval / (12 * PI))
        return _term(Number(sent.series.square_sum * cone, 1), sent.given, term.words)

    return make


def _volume_change(inputs: Ingredients) -> Term:
    names = ("start_girth_series_cm", "girth_series_cm")
    first, second = (inputs.sent(name, "number_series") for name in names)
    start, now = inputs.term("start_limb_volume_ml"), inputs.term("limb_volume_ml")
    if first is None or second is None or first.series is None or second.series is None:
        return NEVER_RECORDED
    both = all_of((first.given, second.given))
    other_stretch = all_of((both, first.series.length != second.series.length))
    nothing = all_of((start.is_number, first.series.square_sum <= 0))
    number = all_of((both, negated(other_stretch), negated(nothing)))
    forced = {
        state: all_of((holds, negated(other_stretch), negated(nothing), negated(number)))
        for state, holds in _forced(start, now).items()
    }
    before, after = Number(first.series.square_sum, 1), Number(second.series.square_sum, 1)
    return _term(
        _percent(after, before, negative_when_less=True),
        number,
        {**forced, NOT_DONE: any_of((forced[NOT_DONE], other_stretch, nothing))},
    )


FORMULAS: Final[Mapping[str, Callable[[Ingredients], Term]]] = {
    "ankle_pressure": _higher("dorsalis_pedis_mmhg", "posterior_tibial_mmhg"),
    "arm_pressure": _higher("arm_pressure_left_mmhg", "arm_pressure_right_mmhg"),
    "arm_difference_mmhg": _arm_difference,
    "abpi": _abpi,
    "arterial_result": _arterial_result,
    "arterial_test_age_days": _days_since("arterial_test_on"),
    "toe_brachial_index": _toe_brachial_index,
    "wound_area_cm2": _wound_area,
    "area_reduction_percent": _area_reduction,
    "limb_volume_ml": _volume_of("girth_series_cm"),
    "start_limb_volume_ml": _volume_of("start_girth_series_cm"),
    "limb_volume_change_percent": _volume_change,
    "days_at_current_tier": _days_since("current_tier_since"),
    "days_since_start": _days_since("compression_started_on"),
    "days_since_first_contact": _days_since("first_contact_on"),
}
