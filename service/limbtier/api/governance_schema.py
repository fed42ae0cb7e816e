"""The schemas of what the governance team reads of an edition, as the use cases write it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from limbtier.api.rule_schema import Status
from limbtier.api.schema_types import (
    AnyObject,
    Count,
    Day,
    Described,
    Digest,
    EditionId,
    Line,
    Name,
    Sentences,
    Tier,
    Words,
)

Text = Annotated[str, Field(max_length=20_000)]
Texts = Annotated[list[Text], Field(max_length=10_000)]
Position = Annotated[int | None, Field(ge=0, le=1_000_000)]
Number = Annotated[int, Field(ge=0, le=1_000_000_000)]


class Work(Described):
    """Long work that goes on: ask again at the same address. `counted` parts are done of `total`, where that
    is known beforehand."""

    kind: Literal["checks", "proofs", "comparison", "hazards", "impact"]
    state: Annotated[
        Literal["running", "done"],
        Field(description="`done` is only said where another address has the outcome."),
    ]
    counted: Number
    total: Number | None
    seen_at: Annotated[
        str,
        Field(
            max_length=40, description="When it last gave a sign.", json_schema_extra={"format": "date-time"}
        ),
    ]


class CaseFinding(Described):
    """What is wrong, and where in which file."""

    code: Line
    severity: Literal["error", "warning"]
    message: Text
    help: Text
    file: Line | None
    line: Position
    column: Position


class CheckFinding(CaseFinding):
    """A finding of a check about one part of the edition; CHECKS.md of the rule files explains the codes."""

    part: Line
    name: Line


class AcceptedFinding(CheckFinding):
    """A finding that is to stay, until a day."""

    reason: Text
    decided_by: Line
    until: Day


class CheckResult(Described):
    """What worked cases and checks say of an edition, on a day."""

    day: Day
    edition: EditionId
    status: Status
    digest: Digest
    based_on: EditionId | None
    worked_cases: Count
    failed_cases: Annotated[list[CaseFinding], Field(max_length=10_000)]
    checks_run: Count
    findings_of_base: Annotated[Count, Field(description="Findings that the base has too; not repeated.")]
    findings: Annotated[list[CheckFinding], Field(max_length=10_000)]
    accepted: Annotated[list[AcceptedFinding], Field(max_length=10_000)]


class _Verdict(Described):
    id: Line
    family: Line
    statement: Text
    seconds: Annotated[float, Field(ge=0, le=1e6, description="How long it took.")]


class Holds(_Verdict):
    """It holds for every assessment that the edition takes."""

    verdict: Literal["proved"]
    note: Text | None


class DoesNotHold(_Verdict):
    """An assessment breaks it, by both engines: `request`, or the change from it to `request_after`."""

    verdict: Literal["counterexample"]
    request: AnyObject
    request_after: AnyObject | None
    answers: Texts
    engine_says: Texts
    worked_case: Text


class NotSettled(_Verdict):
    """Neither was found: it must not be taken for proved."""

    verdict: Literal["inconclusive"]
    reason: Text


class ProofList(Described):
    """A verdict on every statement that must hold of an edition."""

    edition: EditionId
    digest: Digest
    guard_rails: Line
    all_proved: bool
    proved: Count
    broken: Count
    not_settled: Count
    verdicts: Annotated[list[Holds | DoesNotHold | NotSettled], Field(max_length=10_000)]


class ComparedEdition(Described):
    """One of two editions."""

    id: EditionId
    digest: Digest
    status: Status
    title: Line


class ComparedAspect(Described):
    """One aspect of a part, as it was and as it is; null where there was or is none."""

    aspect: Line
    before: Texts | None
    after: Texts | None


class ComparedPart(Described):
    """A part that differs."""

    part: Line
    act: Line
    name: Line
    title: Text
    aspects: Annotated[list[ComparedAspect], Field(max_length=1000)]
    sources: Annotated[list[Line], Field(max_length=1000)]
    reason: Text | None
    decided_by: Line | None


class BehaviourExample(Described):
    """An assessment that two editions decide otherwise, and what each decides, in words."""

    request: AnyObject
    in_words: Texts
    before: Texts
    after: Texts


class BehaviourDifference(Described):
    """One way in which decisions differ, for every assessment for which all of `whenever` holds."""

    change: Text
    direction: Literal["safer", "less cautious", "neither"]
    whenever: Texts
    example: BehaviourExample


class Behaviour(Described):
    """Which assessments two editions decide otherwise. Where it is not `complete` there may be more."""

    equivalent: Annotated[bool, Field(description="Proved: they decide every assessment alike.")]
    complete: bool
    incomplete_because: Text | None
    changes_not_told_in_full: Texts
    questions_that_differ: Texts
    differences: Annotated[list[BehaviourDifference], Field(max_length=10_000)]


class Comparison(Described):
    """Two editions part by part. `behaviour` says which assessments they decide otherwise; null where that
    was not asked for."""

    before: ComparedEdition
    after: ComparedEdition
    changes: Annotated[list[ComparedPart], Field(max_length=100_000)]
    behaviour: Behaviour | None


class ImpactEdition(Described):
    """The edition that is measured."""

    id: EditionId
    digest: Digest
    status: Status


class NotDecided(Described):
    """A past decision that the edition cannot make, and why."""

    reference: Line
    link: Line | None
    edition: Line
    code: Line
    reasons: Sentences


class TierMoves(Described):
    """Legs by whether their tier is higher, lower or the same."""

    up: Number
    down: Number
    same: Number


class ReviewMoves(Described):
    """Legs by whether their review is earlier, later or on the same day."""

    earlier: Number
    later: Number
    same: Number


class LegsMoved(Described):
    """How many legs went from one to the other."""

    before: Name
    after: Name
    legs: Number


class CauseOfChange(Described):
    """A rule, or a setting of reviews, that does otherwise than before."""

    rule: Line
    effect: Line
    tier: Tier | None


class CountedCause(CauseOfChange):
    """A cause, and for how many legs."""

    legs: Number


class LegOutcomeShort(Described):
    """What was, or would be, decided for a leg."""

    disposition: Name
    tier: Tier
    target_tier: Tier
    review_due_on: Day


class ChangedLeg(Described):
    """A leg for which the edition decides otherwise."""

    reference: Line
    link: Line | None
    episode: Line | None
    leg: Literal["left", "right"]
    edition_before: EditionId
    before: LegOutcomeShort
    after: LegOutcomeShort
    tier: Literal["up", "down", "same"]
    review: Literal["earlier", "later", "same"]
    made_by: Annotated[list[CauseOfChange], Field(max_length=10_000)]


class ImpactResult(Described):
    """What an edition would have changed in past decisions of the caller's organisation."""

    edition: ImpactEdition
    source: Words
    compared_with: Words
    notes: Sentences
    assessments: Number
    legs: Number
    legs_that_differ: Number
    editions_before: Annotated[dict[str, Number], Field(description="Legs by the edition that decided then.")]
    tier_moves: TierMoves
    review_moves: ReviewMoves
    tiers: Annotated[list[LegsMoved], Field(max_length=1000)]
    dispositions: Annotated[list[LegsMoved], Field(max_length=1000)]
    made_by: Annotated[list[CountedCause], Field(max_length=10_000)]
    changes: Annotated[list[ChangedLeg], Field(max_length=10_000_000)]
    not_decided: Annotated[list[NotDecided], Field(max_length=10_000_000)]
