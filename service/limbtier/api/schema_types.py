"""Bounded types shared by the schemas of answers. They only describe what is sent."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema
from pydantic.json_schema import GenerateJsonSchema, models_json_schema

REFERENCE = "#/components/schemas/{model}"
DECISION_ID_PATTERN = "^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$"

Name = Annotated[str, Field(pattern="^[a-z][a-z0-9_]*$", max_length=80)]
RuleId = Annotated[str, Field(pattern="^[a-z][a-z0-9_-]*$", max_length=80)]
Words = Annotated[str, Field(max_length=4000)]
Line = Annotated[str, Field(max_length=400)]
Day = Annotated[
    str, Field(pattern="^[0-9]{4}-[0-9]{2}-[0-9]{2}$", max_length=10, json_schema_extra={"format": "date"})
]
Moment = Annotated[str, Field(max_length=40, json_schema_extra={"format": "date-time"})]
Digest = Annotated[str, Field(max_length=80)]
Count = Annotated[int, Field(ge=0, le=1_000_000)]
EditionId = Annotated[str, Field(max_length=64)]
Names = Annotated[list[Name], Field(max_length=1000)]
RuleIds = Annotated[list[RuleId], Field(max_length=1000)]
Sentences = Annotated[list[Words], Field(max_length=1000)]
# The tiers are those of the edition: a reference takes the place of this mark when the schemas are written.
_TIER_MARK = "x-tier"
Tier = Annotated[str, WithJsonSchema({_TIER_MARK: True})]
_ANY_MARK = "x-any-object"
AnyObject = Annotated[dict[str, Any], WithJsonSchema({_ANY_MARK: True})]


def left_out() -> Any:
    """The default of a member that is left out when there is nothing to say, and is never null."""
    return Field(default_factory=str)


class Described(BaseModel):
    """Base of every schema of an answer: exactly these members."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class _Untitled(GenerateJsonSchema):
    """Leaves out the titles that only repeat the names of members."""

    def field_title_should_be_set(self, schema: Any) -> bool:  # noqa: ARG002 - named by the base class
        """Never."""
        return False


def schemas_of(*models: type[BaseModel]) -> dict[str, Any]:
    """The JSON Schemas of models and all their parts, by name."""
    _, document = models_json_schema(
        [(model, "validation") for model in models], ref_template=REFERENCE, schema_generator=_Untitled
    )
    found: dict[str, Any] = _with_tiers(document["$defs"])
    for schema in found.values():
        schema.pop("title", None)
    return found


def _with_tiers(value: Any) -> Any:
    match value:
        case dict() if _ANY_MARK in value:
            others = {name: item for name, item in value.items() if name != _ANY_MARK}
            return {"$ref": REFERENCE.format(model="AnyObject"), **others}
        case dict() if _TIER_MARK in value:
            others = {name: item for name, item in value.items() if name != _TIER_MARK}
            return {"$ref": REFERENCE.format(model="Tier"), **others}
        case dict():
            return {name: _with_tiers(item) for name, item in value.items()}
        case list():
            return [_with_tiers(item) for item in value]
        case _:
            return value
