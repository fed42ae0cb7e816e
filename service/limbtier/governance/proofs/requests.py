"""All requests at once: for every input the answers that somebody can send, as variables of the solver.

What is sent is one of: nothing, a text, or a value. A number is held as a whole number of its last decimal
place, a date as the days that have passed since, a series of girths as its place in a short table of series
together with the sum its volume comes from. That sum, and the product of a length and a width, are left
free within their bounds, because they are not linear: what is proved holds for more than can be sent, and
`Domain.exactness` narrows a search for a witness to values that can be.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from typing import Final

import z3

from limbtier.domain.vocabulary import Input
from limbtier.governance.proofs.formulas import (
    Expression,
    Formula,
    all_of,
    any_of,
    exact,
    exactly_one,
    negated,
)
from limbtier.governance.proofs.terms import Number, unsupported

NUMBERS: Final = ("whole_number", "number")
# A date lies at most so far back; one that a witness uses lies after the first year that is taken.
_LONGEST_AGO: Final = 100_000
_LONGEST_AGO_SENT: Final = 40_000
_RECENT: Final = 400
# Girths in cm that every table of series holds, where the range of the input allows them.
_GIRTHS: Final = tuple(Fraction(girth) for girth in (20, 29, 30, 31, 32, 45))
_BASE_GIRTH: Final = Fraction(30)


@dataclass(frozen=True, slots=True)
class Series:
    """What a girth series comes to: how many girths, and the sum from which its volume is computed."""

    table: tuple[tuple[Fraction, ...], ...]
    length: Expression
    square_sum: Expression


@dataclass(frozen=True, slots=True)
class SentAnswer:
    """What is sent for one input. Exactly one of `absent`, the words and `given` holds; `given` says that
    `value` counts: tenths, hundredths ... of a number, days ago of a date, the place in a series' table."""

    entry: Input
    absent: Formula
    words: Mapping[str, Formula]
    given: Formula = False
    value: Expression = 0
    series: Series | None = None

    @property
    def number(self) -> Number:
        """The number or the days that were given."""
        return Number(self.value, 10**self.entry.places if self.entry.kind in NUMBERS else 1)


# A text, a number in its own unit, days ago of a date, or a series of girths.
Answered = str | Fraction | int | tuple[Fraction, ...]
Sent = Mapping[str, Answered]
Request = Mapping[str, SentAnswer]


@dataclass(slots=True)
class Domain:
    """What every request meets (`constraints`), what narrows the free sums and products to values that can
    be sent (`exactness`), and what keeps numbers to those expected (`usual`), which a witness is asked for
    first. `edges` are those that changes of volume are compared with."""

    constraints: list[Formula] = field(default_factory=list)
    exactness: list[Formula] = field(default_factory=list)
    usual: list[Formula] = field(default_factory=list)
    edges: Sequence[Fraction] = ()
    _answers: dict[str, SentAnswer] = field(default_factory=dict)
    _products: dict[tuple[int, int], tuple[Expression, SentAnswer, SentAnswer]] = field(default_factory=dict)

    def product(self, first: SentAnswer, second: SentAnswer) -> Number:
        """The product of two numbers that are never negative, of which the bounds are known."""
        key = first.value.get_id(), second.value.get_id()
        if key not in self._products:
            product = z3.Int(f"{first.value} times {second.value}")
            self._products[key] = product, first, second
            (low, high), (other_low, other_high) = _scaled_range(first.entry), _scaled_range(second.entry)
            if low is None or other_low is None or low < 0 or other_low < 0:
                raise unsupported(
                    f"`{first.entry.name}` and `{second.entry.name}` are multiplied and may be negative."
                )
            self.constraints.append(product >= low * other_low)
            if high is not None and other_high is not None:
                self.constraints.append(product <= high * other_high)
            one = 10**second.entry.places
            sizes = {
                size
                for size in (one, 10 * one, other_low, other_high)
                if size is not None and size >= other_low and (other_high is None or size <= other_high)
            }
            self.exactness.append(
                any_of(
                    all_of((second.value == size, product == first.value * size)) for size in sorted(sizes)
                )
            )
        return Number(self._products[key][0], 10 ** (first.entry.places + second.entry.places))

    def answer(self, entry: Input, mark: str = "") -> SentAnswer:
        """An answer to an input; `mark` tells it from other answers to the same input."""
        name = f"{entry.name}{mark}"
        known = self._answers.get(name)
        if known is None or known.entry != entry:
            known = self._answers[name] = self._new_answer(entry, name)
        return known

    def _new_answer(self, entry: Input, name: str) -> SentAnswer:
        # Names that no choice can make alike: a choice may well be called `absent` or `given`.
        absent = z3.Bool(f"nothing sent for {name}")
        words = {word: z3.Bool(f"{name} = {word}") for word in entry.values()}
        sent = SentAnswer(entry, absent, words)
        if entry.kind not in ("flag", "choice"):
            sent = replace(sent, given=z3.Bool(f"value sent for {name}"), value=z3.Int(f"value of {name}"))
            self._bound(sent)
        if entry.kind == "number_series":
            sent = replace(sent, series=self._series(sent, name))
        parts = [sent.absent, *sent.words.values()]
        self.constraints += exactly_one(parts if sent.given is False else [*parts, sent.given])
        return sent

    def _bound(self, sent: SentAnswer) -> None:
        if sent.entry.kind in NUMBERS:
            low, high = _scaled_range(sent.entry)
            expected = sent.entry.expected
            for edge, sign in ((expected.at_least, 1), (expected.at_most, -1)):
                if edge is not None:
                    scaled = edge * 10**sent.entry.places
                    self.usual.append(sign * sent.value >= math.ceil(sign * scaled))
        elif sent.entry.kind == "date":
            low, high = 0, _LONGEST_AGO
            self.usual.append(sent.value <= _RECENT)
            self.exactness.append(sent.value <= _LONGEST_AGO_SENT)
        else:
            return
        if low is not None:
            self.constraints.append(sent.value >= low)
        if high is not None:
            self.constraints.append(sent.value <= high)

    def _series(self, sent: SentAnswer, name: str) -> Series:
        low, high = sent.entry.range.at_least, sent.entry.range.at_most
        if low is None or low < 0:
            raise unsupported(f"`{sent.entry.name}` is a series of numbers that may be negative.")
        table = _table(sent.entry, self.edges)
        series = Series(table, z3.Int(f"length of {name}"), z3.Real(f"square sum of {name}"))
        self.constraints += [series.length >= 2, series.square_sum >= 3 * exact(low * low)]
        if high is not None:
            self.constraints.append(
                series.square_sum <= 3 * exact(high * high) * z3.ToReal(series.length - 1)
            )
        self.exactness.append(
            any_of(
                all_of(
                    (
                        sent.value == place,
                        series.length == len(girths),
                        series.square_sum == exact(square_sum(girths)),
                    )
                )
                for place, girths in enumerate(table)
            )
        )
        return series

    def pinned(self, request: Request, answers: Sent) -> list[Formula]:
        """The request is exactly these answers, and its sums and products are theirs."""
        found: list[Formula] = []
        for name, sent in request.items():
            found += _is_answer(sent, answers.get(name))
        for product, first, second in self._products.values():
            values = [answers.get(one.entry.name) for one in (first, second)]
            if request[first.entry.name] is first and request[second.entry.name] is second:
                scale = 10 ** (first.entry.places + second.entry.places)
                numbers = [value for value in values if isinstance(value, Fraction)]
                if len(numbers) == 2:
                    found.append(product == (numbers[0] * numbers[1] * scale).numerator)
        return found


def square_sum(girths: Sequence[Fraction]) -> Fraction:
    """The sum of C1^2 + C1 C2 + C2^2 over neighbouring girths, which truncated cones come from (cm2)."""
    squares = (low * low + low * high + high * high for low, high in pairwise(girths))
    return sum(squares, start=Fraction(0))


def _table(entry: Input, edges: Sequence[Fraction]) -> tuple[tuple[Fraction, ...], ...]:
    """Series of two equal girths, some of them just beside where a change of volume meets an edge, and one
    of three, which covers another stretch of the leg."""
    step = Fraction(1, 10**entry.places)
    wanted = set(_GIRTHS)
    for edge in edges:
        if -100 < edge < 1000:
            beside = _BASE_GIRTH * Fraction(math.sqrt(1 + edge / 100))
            wanted |= {beside // step * step, (beside // step + 1) * step}
    low = entry.range.at_least or Fraction(0)
    high = entry.range.at_most if entry.range.at_most is not None else max(wanted)
    girths = sorted({min(max(girth, low), high) for girth in wanted})
    return (*((girth, girth) for girth in girths), (girths[0],) * 3)


def _scaled_range(entry: Input) -> tuple[int | None, int | None]:
    """The range of a number in its last decimal place, narrowed to what can be written."""
    scale = 10**entry.places
    low, high = entry.range.at_least, entry.range.at_most
    return (
        None if low is None else math.ceil(low * scale),
        None if high is None else math.floor(high * scale),
    )


def withdrawn(request: Request, chosen: Mapping[str, Formula]) -> Request:
    """The same request without the answers chosen."""
    return {name: without(sent, chosen[name]) for name, sent in request.items()}


def without(sent: SentAnswer, gone: Formula) -> SentAnswer:
    """The same answer, but none where `gone` holds."""
    stays = negated(gone)
    return replace(
        sent,
        absent=any_of((sent.absent, gone)),
        words={word: all_of((is_it, stays)) for word, is_it in sent.words.items()},
        given=all_of((sent.given, stays)),
    )


def same_answer(first: SentAnswer, second: SentAnswer) -> Formula:
    """Both requests answer the input alike."""
    parts: list[Formula] = [first.absent == second.absent]
    parts += [first.words[word] == second.words[word] for word in first.words]
    if first.given is not False:
        parts.append(any_of((negated(first.given), first.value == second.value)))
    if first.series is not None and second.series is not None:
        parts += [first.series.length == second.series.length]
        parts += [first.series.square_sum == second.series.square_sum]
    return all_of(parts)


def _is_answer(sent: SentAnswer, answer: Answered | None) -> list[Formula]:
    match answer:
        case None:
            return [sent.absent]
        case str():
            return [sent.words[answer]]
        case tuple() if sent.series is not None:
            length, total = sent.series.length == len(answer), exact(square_sum(answer))
            return [sent.given, length, sent.series.square_sum == total]
        case Fraction():
            scaled = answer * 10**sent.entry.places
            return [sent.given, sent.value == scaled.numerator] if scaled.denominator == 1 else [False]
        case _:
            return [sent.given, sent.value == answer]
