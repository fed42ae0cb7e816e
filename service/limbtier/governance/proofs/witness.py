"""From what the solver found to a request that can be sent, and to plain words."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final, Protocol

from limbtier.domain.assessment import Side
from limbtier.domain.edition import Edition
from limbtier.domain.vocabulary import Input, Vocabulary
from limbtier.foundation.answer_states import NOT_DONE
from limbtier.governance.proofs.formulas import Expression, Formula
from limbtier.governance.proofs.requests import NUMBERS, Answered, Request, Sent, SentAnswer

SIDE: Final[Side] = "left"
Answers = Sent  # an input that is not there was not answered


class Model(Protocol):
    """What the solver found."""

    def holds(self, formula: Formula) -> bool:
        """Whether a formula is true in it."""

    def value(self, expression: Expression) -> int:
        """The whole number that an expression is in it."""


def answers_in(model: Model, request: Request) -> dict[str, Answered]:
    """The answers that a model sends, by input; days ago for dates."""
    found: dict[str, Answered] = {}
    for name, sent in request.items():
        answer = _answer(model, sent)
        if answer is not None:
            found[name] = answer
    return found


def _answer(model: Model, sent: SentAnswer) -> Answered | None:
    for word, is_it in sent.words.items():
        if model.holds(is_it):
            return word
    if not model.holds(sent.given):
        return None
    value = model.value(sent.value)
    if sent.series is not None:
        return sent.series.table[value % len(sent.series.table)]
    return Fraction(value, 10**sent.entry.places) if sent.entry.kind in NUMBERS else value


@dataclass(frozen=True, slots=True)
class Moment:
    """When and where an assessment is made: what due dates are counted from."""

    at: datetime
    calendar: str

    @property
    def day(self) -> date:
        """The day of the assessment."""
        return self.at.date()


def request_of(edition: Edition, answers: Answers, moment: Moment) -> dict[str, Any]:
    """The request as the API takes it, numbers as whole numbers or decimals."""
    vocabulary = edition.vocabulary
    person: dict[str, Any] = {}
    limb: dict[str, Any] = {}
    for name, entry in vocabulary.inputs.items():
        if name in answers:
            place = person if entry.scope == "person" else limb
            place[name] = _as_sent(entry, answers[name], moment.day)
    return {
        "assessed_at": moment.at.isoformat(),
        "calendar": moment.calendar,
        "edition": edition.id,
        "person": person,
        "limbs": {SIDE: limb},
    }


def _as_sent(entry: Input, answer: Answered, today: date) -> Any:
    if answer == NOT_DONE:
        return NOT_DONE
    match entry.kind:
        case "flag":
            return answer == "yes"
        case "date" if isinstance(answer, int):
            return (today - timedelta(days=answer)).isoformat()
        case "number_series" if isinstance(answer, tuple):
            return [_decimal(girth) for girth in answer]
        case _:
            return _decimal(answer) if isinstance(answer, Fraction) else answer


def _decimal(number: Fraction) -> int | Decimal:
    if number.denominator == 1:
        return number.numerator
    return Decimal(number.numerator) / Decimal(number.denominator)


def as_json(request: Mapping[str, Any]) -> str:
    """The request as text to send."""
    return json.dumps(request, indent=2, default=float)


def in_words(vocabulary: Vocabulary, answers: Answers) -> tuple[str, ...]:
    """Every answer as a sentence of the form: the question, and the meaning of what was answered."""
    return tuple(
        f"{entry.question} {_meaning(entry, answers[name])}"
        for name, entry in vocabulary.inputs.items()
        if name in answers
    )


def _meaning(entry: Input, answer: Answered) -> str:
    if answer == NOT_DONE:
        return "Not done."
    match answer:
        case tuple():
            return ", ".join(str(_decimal(girth)) for girth in answer) + f" {entry.unit}."
        case int():
            return (
                "Today." if answer == 0 else f"{answer} day{'' if answer == 1 else 's'} before this contact."
            )
        case Fraction():
            return f"{_decimal(answer)}{f' {entry.unit}' if entry.unit else ''}."
        case _ if entry.kind == "flag":
            return f"{answer.capitalize()}."
    meanings = {choice.value: choice.meaning for choice in entry.choices}
    return f"{meanings.get(answer, answer).rstrip('.')}."
