"""Requests made from generated assessments, in the form that a caller sends them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from fractions import Fraction
from typing import Any

from limbtier.domain.assessment import Answer, Assessment
from limbtier.domain.vocabulary import Vocabulary
from tests.support.assessments import given


def request_of(assessment: Assessment, vocabulary: Vocabulary) -> dict[str, Any]:
    """The request that reads as this assessment."""
    return {
        "assessed_at": assessment.assessed_at.isoformat(),
        "calendar": assessment.calendar,
        "person": _sent(assessment.person, vocabulary),
        "limbs": {side: _sent(answers, vocabulary) for side, answers in assessment.limbs.items()},
    }


def _sent(answers: Mapping[str, Answer], vocabulary: Vocabulary) -> dict[str, Any]:
    return {
        name: answer == "yes" if vocabulary.inputs[name].kind == "flag" else _plain(answer)
        for name, answer in given(answers).items()
    }


def _plain(answer: Answer) -> Any:
    match answer:
        case str():
            return answer
        case Fraction():
            return answer.numerator if answer.denominator == 1 else float(answer)
        case date():
            return answer.isoformat()
        case _:
            return [_plain(number) for number in answer]
