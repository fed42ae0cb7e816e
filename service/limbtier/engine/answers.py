"""Reads the answers of one assessment strictly against a vocabulary: every bad answer is named at once.

Nothing is coerced and nothing is filled in: an input that is absent stays not recorded. An answer to a
question whose condition is false is refused, because the two contradict each other; the question then
counts as answered with `not_asked`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from fractions import Fraction
from itertools import compress
from typing import Any

from limbtier.domain.assessment import Answer, Answers
from limbtier.domain.condition import ALWAYS, names
from limbtier.domain.vocabulary import Input, Range, Scope, Vocabulary
from limbtier.engine.compiled import Reading, compile_conditions
from limbtier.engine.interpreter import DOES_NOT_APPLY
from limbtier.foundation.answer_states import NOT_ASKED, NOT_DONE
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean, pointer

MOST_GIRTHS = 40
MOST_SUGGESTIONS = 20
_ABSENT_HELP = "Leave the field out if the question was not answered."


class AnswerReader:
    """Reads answers of a person or of one limb; built once for an edition."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        self._vocabulary = vocabulary
        self._plain = {scope: _PlainAnswers(vocabulary.of_scope(scope)) for scope in SCOPES}
        self._conditional = {scope: _by_depth(vocabulary.of_scope(scope)) for scope in SCOPES}

    def read(
        self, given: Mapping[str, Any], scope: Scope, place: Sequence[str], today: date | None
    ) -> tuple[dict[str, Answer], list[Diagnostic]]:
        """Answers by name, and what is wrong or unusual with them. `place` is where `given` stands in the
        request; dates after `today` are refused (with None they are not compared)."""
        answers: dict[str, Answer] = {}
        found: list[Diagnostic] = []
        inputs = self._vocabulary.inputs
        plain = self._plain[scope]
        texts, number = plain.texts, plain.number
        for name, value in given.items():
            # The short way for answers that are good and usual as they stand; all others go the long way.
            kind = value.__class__
            if kind is str or kind is bool:
                answer: Answer | None = texts.get(name, _NO_TEXTS).get(value)
            elif kind is int or kind is Decimal:
                answer = number(name, value)
            elif kind is list:
                answer = plain.series(name, value)
            else:
                answer = None
            if answer is not None:
                answers[name] = answer
                continue
            entry = inputs.get(name)
            if entry is None or entry.scope != scope:
                found.append(self._unknown(name, entry, scope, place, len(found) < MOST_SUGGESTIONS))
                continue
            typed, problem = _typed(entry, value, today)
            if problem is not None:
                code, message, advice = problem
                found.append(Diagnostic(code, message, advice, pointer(*place, name)))
            elif typed is not None:
                answers[name] = typed
                if (unusual := _unusual(entry, typed)) is not None:
                    found.append(
                        Diagnostic(
                            "unusual-value",
                            unusual,
                            "Check the entry.",
                            pointer(*place, name),
                            severity="warning",
                        )
                    )
        return answers, found

    @property
    def inputs(self) -> Mapping[str, Input]:
        """The questions, by name."""
        return self._vocabulary.inputs

    def fill(
        self, answers: dict[str, Answer], scope: Scope, facts: Answers, candidates: Answers
    ) -> list[str]:
        """Add to `answers` those candidates whose questions were not answered, and are asked, as far as is
        known; their names. For a limb, `facts` are the person's. Before `complete`."""
        known: dict[str, Answer] = {**facts, **answers}
        filled: list[str] = []

        def add(name: str) -> None:
            if name in candidates and name not in answers:
                answers[name] = known[name] = candidates[name]
                filled.append(name)

        for name in candidates:
            if self._vocabulary.inputs[name].asked_when is None:
                add(name)
        for entries, read in self._conditional[scope]:
            for entry, state in zip(entries, read(known)[0], strict=True):
                if state != DOES_NOT_APPLY:
                    add(entry.name)
        return filled

    def complete(
        self, answers: dict[str, Answer], scope: Scope, facts: Answers, place: Sequence[str]
    ) -> list[Diagnostic]:
        """Mark as `not_asked`, in `answers`, every question whose condition is false; name each
        contradicting answer. For a limb, `facts` are the person's."""
        found: list[Diagnostic] = []
        known: dict[str, Answer] = {**facts, **answers}
        for entries, read in self._conditional[scope]:
            for entry in compress(entries, read(known)[0].translate(_NOT_ASKED_ONLY)):
                if entry.name in answers:
                    found.append(_contradicting(entry, place))
                answers[entry.name] = known[entry.name] = NOT_ASKED
        return found + (_out_of_order(answers, place) if scope == "limb" else [])

    def _unknown(
        self, name: str, entry: Input | None, scope: Scope, place: Sequence[str], suggest: bool
    ) -> Diagnostic:
        """`suggest` a known name only for the first few: looking for one costs more than all else here."""
        where = pointer(*place, name)
        shown = _shown(name)
        if entry is not None:
            home = "under `person`" if entry.scope == "person" else "under a limb"
            return Diagnostic(
                "misplaced-input", f"`{shown}` does not belong here.", f"Give it {home}.", where
            )
        known = [candidate.name for candidate in self._vocabulary.of_scope(scope)] if suggest else []
        advice = did_you_mean(name[:60], known, "See the vocabulary of the edition for the names of inputs.")
        return Diagnostic("unknown-input", f"There is no input `{shown}`.", advice, where)


Problem = tuple[str, str, str]
SCOPES: tuple[Scope, ...] = ("person", "limb")
NUMBERS = ("whole_number", "number")
_TENTHS = tuple(Fraction(tenths, 10) for tenths in range(5120))
_NO_TEXTS: dict[str | bool, str] = {}
_NOT_ASKED_ONLY = bytes(state == DOES_NOT_APPLY for state in range(256))


def _contradicting(entry: Input, place: Sequence[str]) -> Diagnostic:
    """A question that is not asked must not be answered."""
    asked_by = ", ".join(f"`{name}`" for name in sorted(names(entry.asked_when or ALWAYS)))
    return Diagnostic(
        "contradicting-answer",
        f"`{entry.name}` is answered, but the answer to {asked_by} says it is not asked.",
        f"Correct {asked_by}, or leave `{entry.name}` out.",
        pointer(*place, entry.name),
    )


def _out_of_order(answers: Answers, place: Sequence[str]) -> list[Diagnostic]:
    """A tier that is on for longer than compression itself: a slip that makes a start look established."""
    started, since = answers.get("compression_started_on"), answers.get("current_tier_since")
    if not (isinstance(started, date) and isinstance(since, date) and since < started):
        return []
    return [
        Diagnostic(
            "dates-out-of-order",
            f"`current_tier_since` is {since}, before compression started on {started}.",
            "Give for `current_tier_since` the day of the start or a later one.",
            pointer(*place, "current_tier_since"),
        )
    ]


class _PlainAnswers:
    """What answers of one scope are good and usual as they stand."""

    def __init__(self, inputs: Sequence[Input]) -> None:
        self.texts = {entry.name: _texts(entry) for entry in inputs}
        self._numbers = {entry.name: _usual(entry) for entry in inputs if entry.kind in NUMBERS}
        self._series = {entry.name: _usual(entry) for entry in inputs if entry.kind == "number_series"}

    def number(self, name: str, value: int | Decimal) -> Fraction | None:
        """The number as the engine holds it; None where the long way must look at it."""
        bounds = self._numbers.get(name)
        return None if bounds is None else _within(bounds, value)

    def series(self, name: str, values: Sequence[Any]) -> tuple[Fraction, ...] | None:
        """The series as the engine holds it; None where the long way must look at it."""
        bounds = self._series.get(name)
        if bounds is None or not 2 <= len(values) <= MOST_GIRTHS:
            return None
        numbers: list[Fraction] = []
        for value in values:
            kind = value.__class__
            if (kind is not int and kind is not Decimal) or (number := _within(bounds, value)) is None:
                return None
            numbers.append(number)
        return tuple(numbers)


Bounds = tuple[int, int, int]


def _within(bounds: Bounds, value: int | Decimal) -> Fraction | None:
    low, high, scale = bounds
    if not low <= value <= high:
        return None
    top, bottom = value.as_integer_ratio()
    return None if scale % bottom else _exact(top, bottom)


def _exact(top: int, bottom: int) -> Fraction:
    """A fraction in lowest terms; most numbers have at most one decimal, and those were made once."""
    if 0 <= top < 512 and 10 % bottom == 0:
        return _TENTHS[top * 10 // bottom]
    return Fraction(top, bottom)


def _texts(entry: Input) -> dict[str | bool, str]:
    """Texts and flags that are answers as they stand."""
    found: dict[str | bool, str] = {}
    if entry.kind == "flag":
        found = {True: "yes", False: "no"}
    elif entry.kind == "choice":
        found = {choice.value: choice.value for choice in entry.choices}
    if entry.may_be_not_done:
        found[NOT_DONE] = NOT_DONE
    return found


def _usual(entry: Input) -> Bounds:
    """Whole numbers between which nothing is refused or unusual, and the scale of the decimals accepted."""
    lows = [edge for edge in (entry.range.at_least, entry.expected.at_least) if edge is not None]
    highs = [edge for edge in (entry.range.at_most, entry.expected.at_most) if edge is not None]
    return math.ceil(max(lows, default=0)), math.floor(min(highs, default=-1)), 10**entry.places


def _by_depth(inputs: Sequence[Input]) -> list[tuple[list[Input], Callable[[Answers], Reading]]]:
    """Questions with a condition, those first whose conditions read no other such question of the scope."""
    depths: dict[str, int] = {}
    for entry in inputs:
        if entry.asked_when is not None:
            depths[entry.name] = 1 + max((depths.get(name, 0) for name in names(entry.asked_when)), default=0)
    levels: list[tuple[list[Input], Callable[[Answers], Reading]]] = []
    for depth in sorted(set(depths.values())):
        level = [entry for entry in inputs if depths.get(entry.name) == depth]
        levels.append((level, compile_conditions([entry.asked_when or ALWAYS for entry in level]).read))
    return levels


def _typed(entry: Input, value: Any, today: date | None) -> tuple[Answer | None, Problem | None]:
    """The answer as the engine holds it, or what is wrong with it."""
    if value is None:
        return None, ("null-answer", f"`{entry.name}` is null.", _ABSENT_HELP)
    if entry.may_be_not_done and value == NOT_DONE and isinstance(value, str):
        return NOT_DONE, None
    match entry.kind:
        case "flag":
            if isinstance(value, bool):
                return ("yes" if value else "no"), None
            return None, _wrong(entry, value, "true or false")
        case "choice":
            if isinstance(value, str) and any(choice.value == value for choice in entry.choices):
                return value, None
            if isinstance(value, str):
                known = entry.values()
                advice = did_you_mean(value[:60], known, "Use one of: " + ", ".join(known) + ".")
                return None, ("unknown-choice", f"`{entry.name}` has no choice `{_shown(value)}`.", advice)
            return None, _wrong(entry, value, "one of " + ", ".join(entry.values()))
        case "whole_number" | "number":
            return _number(entry, value)
        case "date":
            return _date(entry, value, today)
        case "number_series":
            return _series(entry, value)


def _number(entry: Input, value: Any) -> tuple[Answer | None, Problem | None]:
    if value.__class__ is not int and value.__class__ is not Decimal:
        wanted = "a whole number" if entry.places == 0 else "a number"
        also = ' or "not_done"' if entry.may_be_not_done else ""
        return None, _wrong(entry, value, wanted + also)
    # A number with a huge exponent is refused before it becomes a fraction, so that it costs nothing.
    if value.__class__ is Decimal and value and abs(value.adjusted()) > 12:
        return None, _out_of_range(entry, value, "far outside what can be measured")
    top, bottom = value.as_integer_ratio()
    if _below(top, bottom, entry.range.at_least):
        return None, _out_of_range(entry, value, f"below {_plain(entry.range.at_least)}")
    if _above(top, bottom, entry.range.at_most):
        return None, _out_of_range(entry, value, f"above {_plain(entry.range.at_most)}")
    if bottom != 1 and 10**entry.places % bottom:
        wanted = "a whole number" if entry.places == 0 else f"a number with at most {entry.places} decimals"
        return None, (
            "too-many-decimals",
            f"`{entry.name}` is {_shown(value)}, with more decimals than it is measured to.",
            f"Give {wanted}.",
        )
    return _exact(top, bottom), None


def _below(top: int, bottom: int, edge: Fraction | None) -> bool:
    return edge is not None and top * edge.denominator < edge.numerator * bottom


def _above(top: int, bottom: int, edge: Fraction | None) -> bool:
    return edge is not None and top * edge.denominator > edge.numerator * bottom


def _out_of_range(entry: Input, value: int | Decimal, outside: str) -> Problem:
    unit = f" {entry.unit}" if entry.unit else ""
    return (
        "out-of-range",
        f"`{entry.name}` is {_shown(value)}, {outside}.",
        f"Give{_span(entry.range)}{unit}; check the unit.",
    )


def _date(entry: Input, value: Any, today: date | None) -> tuple[Answer | None, Problem | None]:
    if not isinstance(value, str):
        return None, _wrong(entry, value, 'a date as text, such as "2026-01-31"')
    try:
        day = date.fromisoformat(value)
    except ValueError:
        day = None
    if day is None or value != day.isoformat():
        return None, (
            "impossible-date",
            f"`{entry.name}` is `{_shown(value)}`, which is no date.",
            "Write year-month-day, such as 2026-01-31.",
        )
    if today is not None and day > today:
        return None, (
            "future-date",
            f"`{entry.name}` is {value}, after the day of the assessment.",
            "Give a day on or before the assessment.",
        )
    if day.year < 1900:
        return None, ("out-of-range", f"`{entry.name}` is {value}, before 1900.", "Check the year.")
    return day, None


def _series(entry: Input, value: Any) -> tuple[Answer | None, Problem | None]:
    if not isinstance(value, list) or not 2 <= len(value) <= MOST_GIRTHS:
        return None, _wrong(entry, value, f"a list of 2 to {MOST_GIRTHS} numbers")
    numbers: list[Fraction] = []
    for item in value:
        number, problem = _number(entry, item)
        if problem is not None or not isinstance(number, Fraction):
            return None, problem or _wrong(entry, item, "a list of numbers")
        numbers.append(number)
    return tuple(numbers), None


def _wrong(entry: Input, value: Any, wanted: str) -> Problem:
    return (
        "wrong-type",
        f"`{entry.name}` is {_described(value)}, not {wanted}.",
        f"Give {wanted}. {_ABSENT_HELP}",
    )


def _described(value: Any) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return f"the text `{_shown(value)}`"
        case int() | Decimal():
            return f"the number {_shown(value)}"
        case list():
            return f"a list of {len(value)}"
        case _:
            return "an object"


def _shown(value: object) -> str:
    """A value of the caller, short and printable, for a message."""
    text = "".join(letter if letter.isprintable() else "?" for letter in str(value)[:60])
    return text if len(str(value)) <= 60 else text[:57] + "..."


def _unusual(entry: Input, answer: Answer) -> str | None:
    low, high = entry.expected.at_least, entry.expected.at_most
    if low is None and high is None:
        return None
    for value in answer if isinstance(answer, tuple) else (answer,):
        if not isinstance(value, Fraction):
            continue
        top, bottom = value.as_integer_ratio()
        if _below(top, bottom, low) or _above(top, bottom, high):
            return f"`{entry.name}` is {_plain(value)}, outside the usual{_span(entry.expected)}."
    return None


def _span(bounds: Range) -> str:
    if bounds.at_least is None:
        return f" at most {_plain(bounds.at_most)}" if bounds.at_most is not None else " any number"
    if bounds.at_most is None:
        return f" at least {_plain(bounds.at_least)}"
    return f" {_plain(bounds.at_least)} to {_plain(bounds.at_most)}"


def _plain(value: Fraction | None) -> str:
    if value is None:
        return "any"
    return (
        str(value.numerator) if value.denominator == 1 else str(Decimal(value.numerator) / value.denominator)
    )
