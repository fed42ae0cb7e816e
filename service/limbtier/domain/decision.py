"""A decision: for each limb a tier, what holds it there, what would lift it, by when, and the trace.

Named tuples, because a decision is made of some forty of these, and a frozen dataclass takes three times as
long to make.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Literal, NamedTuple

from limbtier.domain.assessment import Answer, Assessment, Side

Disposition = Literal[
    "stop_and_escalate", "cannot_decide_yet", "step_down", "start", "step_up", "continue", "not_indicated"
]
# Most urgent first; the person gets the most urgent of both legs.
DISPOSITIONS: tuple[Disposition, ...] = (
    "stop_and_escalate",
    "cannot_decide_yet",
    "step_down",
    "start",
    "step_up",
    "continue",
    "not_indicated",
)
TRACE_FORMAT = "2"


class Held(NamedTuple):
    """A limit that counts: it applies, or is undetermined and therefore counts as if it did."""

    rule: str
    tier: str
    undetermined: bool
    until: str | None
    at_tier_given: bool


class Lifting(NamedTuple):
    """What lifts one held limit, and by when. `lift` is a lift of the vocabulary, or `answer`."""

    rule: str
    tier: str
    lift: str
    by: date


class Step(NamedTuple):
    """One step of the step-up plan. It permits nothing: each step is a new decision."""

    from_tier: str
    to_tier: str
    liftings: tuple[Lifting, ...]


class Review(NamedTuple):
    """When somebody must look again: `due_on` never after `within_hours` (a multiple of 24)."""

    due_on: date
    within_hours: int
    set_by: tuple[str, ...]
    no_working_day: bool


class Arrangement(NamedTuple):
    """Something to arrange. `rules` ask for it; those in `after` come first. `pending` while undetermined:
    then it has no day yet, and `questions` are the unanswered inputs that would settle it."""

    what: str
    due_on: date | None
    within: str
    rules: tuple[str, ...]
    after: tuple[str, ...]
    pending: bool
    questions: tuple[str, ...]


class Question(NamedTuple):
    """An unanswered input that could still move the tier, the target, the review or the disposition."""

    input: str
    rules: tuple[str, ...]


class PressureEstimate(NamedTuple):
    """Modified Laplace estimate in mmHg, an explanation only; None where a girth is not known."""

    ankle_mmhg: int | None
    calf_mmhg: int | None


class ChosenMaterial(NamedTuple):
    """A kind of material that fits the leg and the tier, with the rules that chose it."""

    name: str
    rules: tuple[str, ...]
    estimate: PressureEstimate | None
    length_cm: int | None
    rolls: int | None


class AvoidedMaterial(NamedTuple):
    """A kind of material that is out, with the rules that avoid it, applying or undetermined."""

    name: str
    rules: tuple[str, ...]


class Trace(NamedTuple):
    """How every rule read: states are 0 does not apply, 1 undetermined, 2 applies.

    `rules` holds a byte for each rule of the edition, `tests` one for each distinct test of the
    prepared edition; `facts` are the answers, measures and derived facts that the tests met.
    """

    rules: bytes
    tests: bytes
    facts: Mapping[str, Answer]


class LimbDecision(NamedTuple):
    """The decision for one limb; the other limb is never read."""

    side: Side
    disposition: Disposition
    tier: str
    target_tier: str
    highest_possible_tier: str
    review: Review
    limits: tuple[Held, ...]
    plan: tuple[Step, ...]
    questions: tuple[Question, ...]
    arrangements: tuple[Arrangement, ...]
    chosen: tuple[ChosenMaterial, ...]
    avoided: tuple[AvoidedMaterial, ...]
    danger_sign: bool
    trace: Trace

    @property
    def determined(self) -> bool:
        """Whether no unanswered question can move the tier."""
        return self.tier == self.highest_possible_tier


class PersonDecision(NamedTuple):
    """The most urgent disposition and the earliest review of both legs."""

    disposition: Disposition
    review: Review
    other_leg_waits: bool


class Decision(NamedTuple):
    """The whole answer to one assessment, before it has an id."""

    assessment: Assessment
    edition_id: str
    edition_digest: str
    guard_rails_version: str
    decided_at: datetime
    person: PersonDecision
    limbs: Mapping[Side, LimbDecision]
