"""The JSON Schema of a request, built from the vocabulary of an edition."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.episode import PATTERN as EPISODE_PATTERN
from limbtier.domain.vocabulary import Input, Range, Scope, Vocabulary
from limbtier.engine.answers import MOST_GIRTHS
from limbtier.foundation.answer_states import NOT_DONE
from limbtier.use_cases.answer_text import required_text
from limbtier.use_cases.assessment_request import (
    CONFIRMED_PATTERN,
    DECISION_ID_PATTERN,
    AssessmentRequest,
)

Schema = dict[str, Any]
_LEG = "Answers about one leg; at least one, except in a preview that asks for the next questions."
DAY_PATTERN = "^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"


def request_schemas(
    vocabulary: Vocabulary, editions: Iterable[str], calendars: Iterable[str], years: tuple[int, int]
) -> dict[str, Schema]:
    """Schemas of the request and its parts by name. `years` are the first and the last for which
    there are rules and bank holidays."""
    fields = AssessmentRequest.model_fields
    return {
        "AssessmentRequest": {
            "type": "object",
            "description": "One contact: the person and one or both legs. A question not answered is "
            'left out; absence means "not recorded" and never "no". Null is refused.',
            "additionalProperties": False,
            "required": ["assessed_at", "calendar", "person", "limbs"],
            "properties": {
                "assessed_at": {
                    "type": "string",
                    "format": "date-time",
                    "pattern": _moment_pattern(years),
                    "maxLength": 40,
                    "description": f"{fields['assessed_at'].description} There are rules and "
                    f"bank holidays for {years[0]} to {years[1]}; a review must fall within them, too.",
                },
                "calendar": {
                    "type": "string",
                    "enum": list(calendars),
                    "description": fields["calendar"].description,
                },
                "episode": {
                    "type": "string",
                    "pattern": EPISODE_PATTERN,
                    "maxLength": 64,
                    "description": f"{fields['episode'].description} Ten or more digits in a row, also with "
                    "separators between them, are refused for that reason.",
                },
                "edition": {
                    "type": "string",
                    "enum": sorted(editions),
                    "description": f"{fields['edition'].description} The inputs shown here are those of the "
                    "active one; those of another are at `/v1/vocabulary?edition=`.",
                },
                "corrects": {
                    "type": "string",
                    "pattern": DECISION_ID_PATTERN,
                    "maxLength": 36,
                    "description": f"{fields['corrects'].description} Needs `episode`.",
                },
                "confirmed": {
                    "type": "array",
                    "items": {"type": "string", "pattern": CONFIRMED_PATTERN, "maxLength": 60},
                    "maxItems": 20,
                    "description": fields["confirmed"].description,
                },
                "person": {"$ref": "#/components/schemas/PersonAnswers"},
                "limbs": {
                    "type": "object",
                    "description": "The legs assessed; a leg that was not assessed is left out.",
                    "additionalProperties": False,
                    "minProperties": 1,
                    "properties": {
                        side: {"$ref": "#/components/schemas/LimbAnswers"} for side in ("left", "right")
                    },
                },
            },
        },
        "PersonAnswers": _answers(vocabulary, "person", "Answers about the person; may be empty."),
        "LimbAnswers": _answers(vocabulary, "limb", _LEG),
    }


def _moment_pattern(years: tuple[int, int]) -> str:
    """The pattern of a moment within some years; no digit of it can be out of place."""
    known = "|".join(str(year) for year in range(years[0], years[1] + 1))
    return (
        f"^({known})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):[0-5][0-9]"
        r"(:[0-5][0-9](\.[0-9]{1,6})?)?(Z|[+-]([01][0-9]|2[0-3]):[0-5][0-9])$"
    )


def _answers(vocabulary: Vocabulary, scope: Scope, description: str) -> Schema:
    return {
        "type": "object",
        "description": description,
        "additionalProperties": False,
        "properties": {entry.name: input_schema(entry) for entry in vocabulary.of_scope(scope)},
    }


def input_schema(entry: Input) -> Schema:
    """The schema of an answer to one question."""
    plain = _plain(entry)
    if not entry.may_be_not_done:
        return {**plain, "description": _described(entry)}
    not_done = {"type": "string", "enum": [NOT_DONE], "description": "Asked for, and not done."}
    return {"anyOf": [plain, not_done], "description": _described(entry)}


def _plain(entry: Input) -> Schema:
    match entry.kind:
        case "flag":
            return {"type": "boolean"}
        case "choice":
            return {"type": "string", "enum": [choice.value for choice in entry.choices]}
        case "whole_number" | "number":
            return _number(entry)
        case "date":
            return {"type": "string", "format": "date", "pattern": DAY_PATTERN, "maxLength": 10}
        case "number_series":
            return {"type": "array", "items": _number(entry), "minItems": 2, "maxItems": MOST_GIRTHS}


def _number(entry: Input) -> Schema:
    schema: Schema = {"type": "integer" if entry.places == 0 else "number"}
    if entry.range.at_least is not None:
        schema["minimum"] = plain_number(entry.range.at_least)
    if entry.range.at_most is not None:
        schema["maximum"] = plain_number(entry.range.at_most)
    # Decimals are told in the description and not by `multipleOf`: common validators divide in binary
    # fractions, and would refuse a third of the numbers from 5.0 to 150.0 as no multiples of 0.1.
    return schema


def plain_number(value: Fraction) -> int | float:
    """A number of the rule files as a JSON number; a decimal keeps its digits."""
    return value.numerator if value.denominator == 1 else float(value)


def _described(entry: Input) -> str:
    parts = [entry.question, entry.help]
    if entry.kind in ("number", "number_series"):
        parts.append(f"At most {entry.places} decimal{'' if entry.places == 1 else 's'}.")
    if entry.unit:
        parts.append(f"Unit: {entry.unit}.")
    if entry.choices:
        meanings = (f"`{choice.value}`: {choice.meaning}" for choice in entry.choices)
        parts.append("; ".join(meanings) + ".")
    if (usual := _usual(entry.expected)) is not None:
        parts.append(f"Outside {usual} it is accepted with a warning.")
    if entry.kind == "date":
        parts.append("Not after the day of the assessment.")
    if entry.asked_when is not None:
        parts.append(f"Asked only when {condition_text(entry.asked_when)}; otherwise an answer is refused.")
    return " ".join(part for part in parts if part)


def _usual(expected: Range) -> str | None:
    low, high = expected.at_least, expected.at_most
    if low is None and high is None:
        return None
    if high is None:
        return f"{plain_number(low or Fraction(0))} and more"
    return (
        f"{plain_number(low)} to {plain_number(high)}"
        if low is not None
        else f"{plain_number(high)} and less"
    )


def condition_text(condition: Condition) -> str:
    """A condition in words."""
    match condition:
        case ValueTest() | EdgeTest():
            return f"`{condition.name}` is {required_text(condition)}"
        case AllOf(parts):
            return _joined(parts, "and")
        case AnyOf(parts):
            return f"at least one holds of: {_joined(parts, 'or')}"
        case NoneOf(parts):
            return f"none holds of: {_joined(parts, 'or')}"


def _joined(parts: Iterable[Condition], word: str) -> str:
    return f" {word} ".join(condition_text(part) for part in parts)
