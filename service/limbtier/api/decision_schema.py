"""The schema of a decision, member by member as `use_cases/decision_record.py` writes it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from limbtier.api.next_questions_schema import NextQuestions
from limbtier.api.rule_schema import Concludes, EditionSummary, SourceSummary
from limbtier.api.schema_types import (
    DECISION_ID_PATTERN,
    Count,
    Day,
    Described,
    Digest,
    Line,
    Moment,
    Name,
    Names,
    RuleId,
    RuleIds,
    Sentences,
    Tier,
    Words,
    left_out,
)

Disposition = Literal[
    "stop_and_escalate", "cannot_decide_yet", "step_down", "start", "step_up", "continue", "not_indicated"
]
CountingState = Annotated[
    Literal["applies", "undetermined"],
    Field(description="An undetermined limit, review, avoided material or caution counts as if it applied."),
]


class Review(Described):
    """When somebody must look again."""

    due_on: Annotated[Day, Field(description="The last working day within the interval; never later.")]
    within_hours: Annotated[int, Field(ge=0, le=24 * 366, description="The interval, a multiple of 24.")]
    set_by: Annotated[RuleIds, Field(description="The rules, the tier or the settings that set it.")]
    calendar: Name


class LimbReview(Review):
    """When somebody must look at this leg again."""

    note: Annotated[Words | None, Field(description="Said when there is no working day within the interval.")]


class Person(Described):
    """Both legs together: the most urgent disposition and the earliest review."""

    disposition: Disposition
    review: Review
    text: Annotated[Words, Field(description="The outcome of each leg, and what takes precedence, in words.")]


class TierRange(Described):
    """The tiers that the unanswered questions leave open."""

    lowest: Annotated[Tier, Field(description="The tier given.")]
    highest: Annotated[Tier, Field(description="The tier if every unanswered question turned out well.")]


class Measure(Described):
    """A number or kind computed from answers."""

    shown: Annotated[
        Line, Field(description="Rounded for people, or `not_recorded`, `not_done`, `not_asked`.")
    ]
    exact: Annotated[
        Line | None, Field(description="The exact value, as a decimal or a fraction such as 4/5.")
    ]
    unit: Line | None


class HeldLimit(Described):
    """A rule's \"no higher than this tier\"."""

    rule: RuleId
    tier: Tier
    state: CountingState
    until: Annotated[Name | None, Field(description="What can lift it; null when only its own answers can.")]
    at_tier_given: Annotated[bool, Field(description="Whether it holds the leg at the tier given.")]


class Lifting(Described):
    """What lifts one limit, and by when."""

    rule: RuleId
    tier: Tier
    lift: Name
    what: Line
    by: Day


class Step(Described):
    """One step of the step-up plan. It permits nothing: each step is a new decision."""

    from_tier: Annotated[Tier, Field(alias="from")]
    to_tier: Annotated[Tier, Field(alias="to")]
    lifts: Annotated[list[Lifting], Field(max_length=1000)]


class OpenQuestion(Described):
    """An unanswered question that could still move the tier, the target, the review or the disposition."""

    input: Name
    scope: Literal["person", "limb"]
    question: Words
    rules: RuleIds


class DueArrangement(Described):
    """Something to arrange."""

    what: Name
    title: Line
    state: Annotated[Literal["due", "pending"], Field(description="Pending while a question leaves it open.")]
    due_on: Day | None
    within: Line | None
    after: Annotated[Names, Field(description="Arrangements that come first.")]
    rules: RuleIds
    questions: Annotated[Names, Field(description="Unanswered inputs that settle it, while it is pending.")]


class EstimatedPressure(Described):
    """An estimate by the modified law of Laplace, an explanation only."""

    ankle_mmhg: Annotated[int | None, Field(ge=0, le=1000)]
    calf_mmhg: Annotated[int | None, Field(ge=0, le=1000)]


class Chosen(Described):
    """A material that fits the leg and the tier."""

    material: Name
    title: Line
    rules: RuleIds
    estimated_pressure: EstimatedPressure | None
    length_cm: Annotated[int | None, Field(ge=0, le=1_000_000)]
    rolls: Annotated[int | None, Field(ge=0, le=10_000)]


class Avoided(Described):
    """A material that is out."""

    material: Name
    title: Line
    rules: RuleIds


class Technique(Described):
    """One instruction."""

    text: Words
    rule: RuleId


class Materials(Described):
    """Materials that fit, materials that are out, and how to apply them. No brand is ever named."""

    chosen: Annotated[list[Chosen], Field(max_length=1000)]
    avoided: Annotated[list[Avoided], Field(max_length=1000)]
    technique: Annotated[list[Technique], Field(max_length=1000)]
    pressure_caveat: Annotated[Words | None, Field(description="Said where a pressure is estimated.")]


class Caution(Described):
    """A caution of a rule that applies, or is undetermined."""

    text: Words
    rule: RuleId
    state: CountingState


class Reason(Described):
    """A rule that counted, with its reason."""

    rule: RuleId
    title: Line
    state: CountingState
    because: Words
    concludes: Concludes
    sources: RuleIds


ReadTest = Annotated[
    tuple[
        Annotated[Name, Field(description="What was read: an input, a measure or a derived fact.")],
        Annotated[Words, Field(description="What was required.")],
        Annotated[Words, Field(description="What was found.")],
        Annotated[Literal["no", "undetermined", "yes"], Field(description="Whether the test holds.")],
    ],
    Field(description="One test of a rule as it was read: what, required, found, whether it holds."),
]


class AllRead(Described):
    """All parts must hold."""

    all_of: Annotated[list[ConditionRead], Field(max_length=1000)]


class AnyRead(Described):
    """At least one part must hold."""

    any_of: Annotated[list[ConditionRead], Field(max_length=1000)]


class NoneRead(Described):
    """No part may hold."""

    none_of: Annotated[list[ConditionRead], Field(max_length=1000)]


ConditionRead = ReadTest | AllRead | AnyRead | NoneRead


class RuleRead(Described):
    """How one rule was read."""

    rule: RuleId
    state: Literal["applies", "undetermined", "does_not_apply"]
    when: ConditionRead


class Trace(Described):
    """Every rule of the edition, applied or not, with each test's required and actual value."""

    format: Line
    rules: Annotated[list[RuleRead], Field(max_length=10_000)]


class LimbDecision(Described):
    """The decision for one leg; the other leg is never read."""

    disposition: Disposition
    tier: Annotated[Tier, Field(description="The starting tier for today.")]
    target_tier: Annotated[Tier, Field(description="The tier the leg is heading for.")]
    range: TierRange
    determined: Annotated[bool, Field(description="Whether no unanswered question can move the tier.")]
    provisional: Annotated[Words | None, Field(description="Said when the tier is not determined.")]
    review: LimbReview
    measures: dict[str, Measure]
    limits: Annotated[list[HeldLimit], Field(max_length=1000)]
    step_up_plan: Annotated[list[Step], Field(max_length=10)]
    questions: Annotated[list[OpenQuestion], Field(max_length=1000)]
    arrangements: Annotated[list[DueArrangement], Field(max_length=1000)]
    materials: Materials
    cautions: Annotated[list[Caution], Field(max_length=1000)]
    safety_net: Annotated[Sentences, Field(description="What the person must be told.")]
    reasons: Annotated[list[Reason], Field(max_length=1000)]
    sources: Annotated[list[SourceSummary], Field(max_length=1000)]
    trace: Trace


class Limbs(Described):
    """The legs assessed."""

    left: LimbDecision = left_out()
    right: LimbDecision = left_out()


class AssessmentWarning(Described):
    """An answer that is accepted but unusual."""

    code: RuleId
    pointer: Words
    message: Words
    help: Words


class Engine(Described):
    """What decided."""

    service: Line
    trace_format: Line


class Caller(Described):
    """Who asked."""

    id: Line
    organisation: Line


class FilledAnswer(Described):
    """An answer that was filled in from the history of the episode."""

    scope: Annotated[Literal["person", "left", "right"], Field(description="Where it belongs.")]
    input: Name
    value: Annotated[
        Line | Annotated[list[Line], Field(max_length=40)] | None,
        Field(description="As text; null where an answer was taken out."),
    ]
    on: Annotated[Day, Field(description="The day it was given.")]
    entry: Annotated[Line, Field(description="The id of the decision or event that it comes from.")]
    instead_of: Annotated[
        Line | Annotated[list[Line], Field(max_length=40)] | None,
        Field(description="What the caller answered, where the history stands in its place."),
    ]


class LiftedLimit(Described):
    """A limit that held the leg at its last decision and holds it no longer."""

    rule: RuleId
    tier: Tier
    until: Name | None


class LiftedLimits(Described):
    """What was lifted since the last decision, leg by leg."""

    left: Annotated[list[LiftedLimit], Field(max_length=1000)] = left_out()
    right: Annotated[list[LiftedLimit], Field(max_length=1000)] = left_out()


class PathwayUsed(Described):
    """Which pathway completed and watched."""

    version: Line
    digest: Digest


class WatchFlag(Described):
    """Something about an episode to see to."""

    limb: Literal["left", "right"]
    rule: RuleId
    title: Line
    state: Annotated[
        Literal["applies", "undetermined"],
        Field(description="Undetermined where something that the rule reads was not recorded."),
    ]
    action: Words
    due_on: Day
    because: Words
    sources: RuleIds


class EpisodeOfDecision(Described):
    """What the decision took from its episode."""

    reference: Line
    contacts_before: Count
    last_contact: Annotated[Line | None, Field(description="The id of the last decision before this one.")]
    corrects: Annotated[Line | None, Field(description="The id of the decision that this one corrects.")]
    completed: Annotated[list[FilledAnswer], Field(max_length=1000)]
    lifted_since: LiftedLimits
    pathway: PathwayUsed
    watch: Annotated[list[WatchFlag], Field(max_length=1000)]


class Decision(Described):
    """The answer to one assessment, as it is stored."""

    kind: Literal["decision", "preview"]
    caller: Annotated[Caller | None, Field(description="Null for a preview.")]
    id: Annotated[
        str | None,
        Field(
            pattern=DECISION_ID_PATTERN, max_length=36, description="Null for a preview, which is not stored."
        ),
    ]
    decided_at: Moment
    edition: EditionSummary
    person: Person
    limbs: Limbs
    warnings: Annotated[list[AssessmentWarning], Field(max_length=1000)]
    caution: Annotated[Words, Field(description="Local policy and a licensed clinician decide.")]
    engine: Engine
    episode: Annotated[
        EpisodeOfDecision | None, Field(description="Null for an assessment without an episode.")
    ]
    received: Annotated[
        str, Field(max_length=1_000_000, description="The text of the request, exactly as it was received.")
    ]


class StoredDecision(Decision):
    """A decision that was stored before it was given: these very bytes are the entry of the log."""

    kind: Literal["decision"]
    caller: Caller
    id: Annotated[str, Field(pattern=DECISION_ID_PATTERN, max_length=36)]


class Preview(Decision):
    """The same answer, stored nowhere."""

    kind: Literal["preview"]
    caller: None
    id: None
    next_questions: Annotated[
        NextQuestions, Field(description="What a form should ask next; given when it was asked for.")
    ] = left_out()
