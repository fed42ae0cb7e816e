"""The schemas of editions, their rules and their vocabulary, as `edition_records.py` writes them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from limbtier.api.schema_types import (
    Count,
    Day,
    Described,
    Digest,
    EditionId,
    Line,
    Name,
    Names,
    RuleId,
    RuleIds,
    Sentences,
    Tier,
    Words,
    left_out,
)

Status = Literal["draft", "released", "retired"]
Basis = Annotated[
    Literal["seen", "memory", "practice"],
    Field(description="Whether the point was seen in the source, is from memory, or is common practice."),
]
Edge = Annotated[float | None, Field(ge=-1e12, le=1e12)]


class EditionSummary(Described):
    """Which edition, and the digest of its files."""

    id: EditionId
    title: Line
    status: Status
    digest: Digest
    guard_rails: Annotated[Line, Field(description="Version of the guard rails that bind it.")]


class EditionHead(Described):
    """One edition in a list."""

    id: EditionId
    title: Line
    status: Status
    digest: Digest
    effective_from: Day
    review_by: Day


class EditionList(Described):
    """Every edition, the latest first."""

    active: Annotated[EditionId | None, Field(description="The one that decides when a request names none.")]
    editions: Annotated[list[EditionHead], Field(max_length=1000)]


class TierWords(Described):
    """One tier, lowest first."""

    name: Tier
    title: Line
    meaning: Words
    intended_pressure: Line
    compression: bool
    review_within: Line | None


class DatedValue(Described):
    """A value of a setting from one day to another, both included; null is open."""

    value: Line | Annotated[float, Field(ge=-1e12, le=1e12)]
    from_day: Annotated[Day, Field(alias="from")]
    to_day: Annotated[Day | None, Field(alias="to")]


class Setting(Described):
    """A named value that a governance team may re-set."""

    name: Name
    title: Line
    values: Annotated[list[DatedValue], Field(max_length=1000)]
    sources: RuleIds


class GuardRail(Described):
    """A safety property that no edition may break."""

    id: RuleId
    statement: Words
    relation: Annotated[
        Name | None, Field(description="Set when it compares two decisions, which one decision cannot show.")
    ]


class GuardRails(Described):
    """The guard rails that bind the edition; they stand apart from it."""

    version: Line
    digest: Digest
    rails: Annotated[list[GuardRail], Field(max_length=1000)]


class Counts(Described):
    """How much there is of each."""

    inputs: Count
    rules: Count
    sources: Count
    worked_cases: Count


class ChangeOfBase(Described):
    """One thing that an edition does to the one it is based on, where it stands, and why. What changes
    nothing by itself, such as a worked case, is added without a reason."""

    part: Line
    act: Literal["added", "replaced", "withdrawn"]
    name: Line
    reason: Words | None
    decided_by: Annotated[Line | None, Field(description="A role, never a person.")]
    file: Line
    line: Count


class EditionDetail(EditionHead):
    """One edition without its rules."""

    based_on: EditionId | None
    bases: Annotated[
        list[EditionId], Field(max_length=100, description="What it is based on, nearest first.")
    ]
    changes: Annotated[list[ChangeOfBase], Field(max_length=10_000)]
    owner: Line
    tiers: Annotated[list[TierWords], Field(max_length=10)]
    settings: Annotated[list[Setting], Field(max_length=1000)]
    guard_rails: GuardRails
    counts: Counts


class SourceSummary(Described):
    """A publication, or the statement that there is none."""

    id: RuleId
    title: Words
    basis: Basis


class Source(SourceSummary):
    """A publication, what it was read for, and when that was last checked."""

    point: Annotated[Words, Field(description="What it was read for.")]
    checked_on: Day


class RequiredTest(Described):
    """One test: the fact, and what it must be."""

    input: Annotated[Name, Field(description="An input, a measure or a derived fact.")]
    required: Words


class AllOf(Described):
    """All parts must hold."""

    all_of: Annotated[list[Condition], Field(max_length=1000)]


class AnyOf(Described):
    """At least one part must hold."""

    any_of: Annotated[list[Condition], Field(max_length=1000)]


class NoneOf(Described):
    """No part may hold."""

    none_of: Annotated[list[Condition], Field(max_length=1000)]


Condition = RequiredTest | AllOf | AnyOf | NoneOf


class ConcludedLimit(Described):
    """No tier above this one, until something lifts it."""

    tier: Tier
    until: Name | None


class ConcludedReview(Described):
    """A review within an interval, or within a setting."""

    within: Line


class ConcludedArrangement(Described):
    """Something to arrange, within an interval or a setting."""

    what: Name
    within: Line


class Concludes(Described):
    """What a rule concludes; only what is set is there."""

    propose: Tier = left_out()
    limit: ConcludedLimit = left_out()
    review: ConcludedReview = left_out()
    arrange: Annotated[list[ConcludedArrangement], Field(max_length=1000)] = left_out()
    classify: Names = left_out()
    choose: Names = left_out()
    avoid: Names = left_out()
    caution: Sentences = left_out()
    instruct: Sentences = left_out()
    instruct_at: Names = left_out()
    instruct_with: Names = left_out()


class RuleOrigin(Described):
    """Which edition wrote a rule as it stands, and what that one did."""

    edition: EditionId
    act: Literal["given", "added", "replaced"]
    reason: Words | None
    decided_by: Line | None


class Rule(Described):
    """One rule: when it applies, what it concludes, why, and on whose word."""

    id: RuleId
    title: Line
    topic: Line
    when: Condition
    concludes: Concludes
    because: Words
    origin: RuleOrigin
    sources: Annotated[list[Source], Field(max_length=1000)]
    file: Line
    line: Count


class RuleList(Described):
    """Every rule of an edition."""

    edition: EditionSummary
    rules: Annotated[list[Rule], Field(max_length=10_000)]


class Choice(Described):
    """One answer of a choice."""

    value: Line
    meaning: Words
    counts_as: Line | None


class NumberRange(Described):
    """Edges of a number, both included; null is open."""

    at_least: Edge
    at_most: Edge


class InputWords(Described):
    """One question."""

    name: Name
    scope: Annotated[Literal["person", "limb"], Field(description="Where the answer belongs in a request.")]
    kind: Literal["flag", "choice", "whole_number", "number", "date", "number_series"]
    group: Annotated[Line, Field(description="Heading on a form.")]
    question: Words
    help: Words
    unit: Line | None
    choices: Annotated[list[Choice], Field(max_length=1000)]
    may_be_not_done: Annotated[bool, Field(description='Whether "not_done" is an answer.')]
    range: Annotated[NumberRange, Field(description="A number outside it is refused.")]
    expected: Annotated[NumberRange, Field(description="A number outside it is accepted with a warning.")]
    places: Annotated[int, Field(ge=0, le=12, description="Most decimals accepted.")]
    asked_when: Annotated[
        Condition | None, Field(description="When it is false, an answer is refused; null is always asked.")
    ]
    danger_sign: bool


class MeasureWords(Described):
    """A number or kind computed from answers; it is never sent."""

    name: Name
    title: Line
    unit: Line | None
    places: Annotated[int, Field(ge=0, le=12)]


class FactWords(Described):
    """A fact that rules classify."""

    name: Name
    title: Line


class Lift(Described):
    """What can lift a limit, and the inputs by whose change it shows."""

    name: Name
    title: Line
    inputs: Names


class Vocabulary(Described):
    """Every question that may be answered, and what is made of the answers."""

    edition: EditionSummary
    inputs: Annotated[list[InputWords], Field(max_length=1000)]
    measures: Annotated[list[MeasureWords], Field(max_length=1000)]
    facts: Annotated[list[FactWords], Field(max_length=1000)]
    lifts: Annotated[list[Lift], Field(max_length=1000)]
