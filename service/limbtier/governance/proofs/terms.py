"""A condition as formulas: the reading of the condition tree that speaks of all assessments at once.

What is known of a fact is a term: whether it is undetermined, which text it is, or which number. A truth is
two formulas, because it has three values (strong Kleene): that it surely holds, and that it possibly holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import UnsupportedConstruct
from limbtier.governance.proofs.formulas import Expression, Formula, all_of, any_of, either, negated


def unsupported(message: str, file: str | None = None, line: int | None = None) -> UnsupportedConstruct:
    """The error, with one diagnostic."""
    advice = "Teach limbtier.governance.proofs what it means, or take it out of the edition."
    return UnsupportedConstruct([Diagnostic(UnsupportedConstruct.code, message, advice, None, file, line)])


@dataclass(frozen=True, slots=True)
class Number:
    """`top / bottom`, where `bottom` is above zero; at most one of both is more than a plain whole number
    when a test multiplies it with an edge, so that every test stays linear."""

    top: Expression
    bottom: Expression

    def meets(self, test: EdgeTest) -> Formula:
        """It lies within the edges, compared exactly."""
        return all_of(
            self._compared(edge, sign)
            for edge, sign in (
                (test.at_least, ">="),
                (test.above, ">"),
                (test.at_most, "<="),
                (test.below, "<"),
            )
            if edge is not None
        )

    def _compared(self, edge: Fraction, sign: str) -> Formula:
        left, right = self.top * edge.denominator, self.bottom * edge.numerator
        if sign == ">=":
            return left >= right
        if sign == ">":
            return left > right
        return left <= right if sign == "<=" else left < right


@dataclass(frozen=True, slots=True)
class EitherNumber:
    """One number where the condition holds, otherwise another."""

    condition: Formula
    first: Number
    second: Number

    def meets(self, test: EdgeTest) -> Formula:
        """The one that counts lies within the edges."""
        return either(self.condition, self.first.meets(test), self.second.meets(test))


@dataclass(frozen=True, slots=True)
class Term:
    """What is known of one fact. Exactly one of `unknown`, the words and `is_number` holds.

    `words` are all texts it can be, `not_done` and `not_asked` among them.
    """

    unknown: Formula
    words: Mapping[str, Formula] = field(default_factory=dict)
    is_number: Formula = False
    number: Number | EitherNumber | None = None

    def word(self, text: str) -> Formula:
        """The fact is this text."""
        return self.words.get(text, False)

    @property
    def is_text(self) -> Formula:
        """The fact is any text."""
        return any_of(self.words.values())


NEVER_RECORDED = Term(unknown=True)


@dataclass(frozen=True, slots=True)
class Truth:
    """How a condition reads: `surely` implies `possibly`; between both it is undetermined."""

    surely: Formula
    possibly: Formula

    @property
    def undetermined(self) -> Formula:
        """An answer that was not recorded leaves it open."""
        return all_of((self.possibly, negated(self.surely)))


def truth_of(condition: Condition, terms: Mapping[str, Term]) -> Truth:
    """How a condition reads. A name without a term raises UnsupportedConstruct."""
    match condition:
        case AllOf(parts):
            read = [truth_of(part, terms) for part in parts]
            return Truth(all_of(one.surely for one in read), all_of(one.possibly for one in read))
        case AnyOf(parts):
            read = [truth_of(part, terms) for part in parts]
            return Truth(any_of(one.surely for one in read), any_of(one.possibly for one in read))
        case NoneOf(parts):
            read = [truth_of(part, terms) for part in parts]
            return Truth(
                negated(any_of(one.possibly for one in read)), negated(any_of(one.surely for one in read))
            )
        case ValueTest() | EdgeTest():
            return _truth_of_test(condition, terms)
    raise unsupported(f"The condition holds {type(condition).__name__}, which has no formula.")


def _truth_of_test(test: ValueTest | EdgeTest, terms: Mapping[str, Term]) -> Truth:
    term = terms.get(test.name)
    if term is None:
        raise unsupported(f"A condition reads `{test.name}`, which is no input, measure or fact.")
    if isinstance(test, ValueTest):
        holds = any_of(term.word(value) for value in test.values)
    else:
        holds = False if term.number is None else all_of((term.is_number, term.number.meets(test)))
    return Truth(holds, any_of((term.unknown, holds)))
