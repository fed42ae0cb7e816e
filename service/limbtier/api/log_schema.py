"""The schemas of what is read from the log: pages of decisions, replays, explanations, proofs."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, WithJsonSchema

from limbtier.api.decision_schema import Disposition, Engine
from limbtier.api.schema_types import (
    DECISION_ID_PATTERN,
    Day,
    Described,
    EditionId,
    Line,
    Moment,
    Name,
    Names,
    RuleId,
    Tier,
    Words,
    left_out,
)

DecisionId = Annotated[str, Field(pattern=DECISION_ID_PATTERN, max_length=36)]
Position = Annotated[int, Field(ge=0, le=2**53 - 1, description="Its place in the log, counted from 0.")]
Size = Annotated[int, Field(ge=0, le=2**53 - 1)]
Hash = Annotated[str, Field(pattern="^[0-9a-f]{64}$", max_length=64)]
Hashes = Annotated[list[Hash], Field(max_length=200)]
CountingState = Literal["applies", "undetermined"]


class FoundLimb(Described):
    """One leg of a decision, in short."""

    tier: Tier
    disposition: Disposition


class FoundLimbs(Described):
    """The legs decided."""

    left: FoundLimb = left_out()
    right: FoundLimb = left_out()


class FoundDecision(Described):
    """A decision, in short."""

    id: DecisionId
    decided_at: Moment
    edition: EditionId
    episode: Line | None
    limbs: FoundLimbs
    position: Position


class DecisionPage(Described):
    """Decisions that fit, newest first."""

    decisions: Annotated[list[FoundDecision], Field(max_length=100)]
    next: Annotated[
        Line | None, Field(description="The cursor of the page after this one; null on the last.")
    ]


class Difference(Described):
    """A field that came out differently."""

    pointer: Words
    stored: Words
    now: Words


class Replay(Described):
    """A stored decision, made again by the edition that made it."""

    decision: DecisionId
    edition: EditionId
    same: Annotated[bool, Field(description="Whether every field came out as it was stored.")]
    differences: Annotated[list[Difference], Field(max_length=200)]
    more_differences: Annotated[int, Field(ge=0, le=1_000_000, description="How many more there are.")]
    failure: Annotated[Words | None, Field(description="Why no decision came out, where none did.")]
    stored_engine: Annotated[Engine, Field(description="What decided then.")]
    engine: Annotated[Engine | None, Field(description="What decided now.")]
    entry: Annotated[str, Field(max_length=64, description="The id of the entry that records this replay.")]


class HeldBy(Described):
    """A limit at the tier given."""

    rule: RuleId
    title: Line
    because: Words
    state: CountingState
    until: Name | None


class Goal(Described):
    """A proposal that counts or may count."""

    rule: RuleId
    title: Line
    tier: Tier
    state: CountingState


class WhyNotHigher(Described):
    """What holds the leg at the tier; without any, its goals ask for no more."""

    held_by: Annotated[list[HeldBy], Field(max_length=1000)]
    goals: Annotated[list[Goal], Field(max_length=1000)]
    highest_possible_tier: Tier


class WhyNotLower(Described):
    """What asks for the tier, and the lowest limit that counts: nothing asks for less."""

    goals: Annotated[list[Goal], Field(max_length=1000)]
    lowest_limit: Tier | None


class WithoutRule(Described):
    """What the tier and the target would be without one rule's limit or proposal."""

    rule: RuleId
    tier: Tier
    target_tier: Tier


class ExplainedLimb(Described):
    """One leg explained."""

    disposition: Disposition
    tier: Tier
    target_tier: Tier
    why_not_higher: WhyNotHigher
    why_not_lower: WhyNotLower
    without_rule: Annotated[list[WithoutRule], Field(max_length=1000)]


class ExplainedLimbs(Described):
    """The legs explained."""

    left: ExplainedLimb = left_out()
    right: ExplainedLimb = left_out()


class ChangedOutcome(Described):
    """What came out for a leg."""

    disposition: Disposition
    tier: Tier
    target_tier: Tier
    review_due_on: Day


class ChangedOutcomes(Described):
    """The legs for which something else came out."""

    left: ChangedOutcome = left_out()
    right: ChangedOutcome = left_out()


class AnswerChange(Described):
    """One answer changed, and what came out."""

    input: Name
    limb: Annotated[
        Literal["left", "right"] | None, Field(description="Null for an answer about the person.")
    ]
    given: Line
    instead: Line
    no_longer_asked: Annotated[
        Names, Field(description="Answers left out because this one contradicts them.")
    ]
    outcomes: ChangedOutcomes


class Explanation(Described):
    """Why not higher, why not lower, what would have changed it. No decision and no advice."""

    kind: Literal["explanation"]
    decision: DecisionId
    edition: EditionId
    limbs: ExplainedLimbs
    answers: Annotated[list[AnswerChange], Field(max_length=10_000)]
    note: Words
    caution: Words


class InclusionProof(Described):
    """That an entry stands in the log of a size (RFC 9162, 2.1.3)."""

    position: Position
    size: Size
    leaf_hash: Hash
    root: Hash
    hashes: Annotated[Hashes, Field(description="From the leaf to the root.")]


class ConsistencyProof(Described):
    """That the log of a later size continues the one of an earlier (RFC 9162, 2.1.4)."""

    old_size: Size
    size: Size
    old_root: Hash
    root: Hash
    hashes: Hashes


Provenance = Annotated[
    dict[str, Any],
    WithJsonSchema({"type": "object", "description": "PROV-JSON (W3C Member Submission of 24 April 2013)."}),
]
