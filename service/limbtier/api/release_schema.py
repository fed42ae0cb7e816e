"""What is sent and answered about drafts, described."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from limbtier.api.schema_types import Count, Day, Described, Digest, EditionId, Line, Moment, Words, left_out
from limbtier.rulesets.shapes import EDITION_VERSION
from limbtier.use_cases.assessment_request import EDITION_PATTERN
from limbtier.use_cases.release_drafts import MOST_DRAFTS
from limbtier.use_cases.release_files import (
    MOST_BYTES,
    MOST_FILES,
    PATH_PATTERN,
    REASON_PATTERN,
    TEXT_PATTERN,
)
from limbtier.use_cases.release_judgement import MOST_FINDINGS

Files = Annotated[
    dict[
        Annotated[str, Field(pattern=PATH_PATTERN, max_length=80)],
        Annotated[str, Field(pattern=TEXT_PATTERN, max_length=MOST_BYTES)],
    ],
    Field(
        min_length=1,
        max_length=MOST_FILES,
        description="The text of each file by its path.",
        json_schema_extra={"additionalProperties": False},
    ),
]
Reason = Annotated[
    str, Field(pattern=REASON_PATTERN, max_length=500, description="Why, for the log. Name no people.")
]
CallerId = Annotated[str, Field(max_length=300)]
State = Literal["draft", "checked", "proved", "approved", "released", "retired", "discarded"]
Texts = Annotated[list[Words], Field(max_length=1000)]


class SaveDraft(Described):
    """All files of an edition."""

    files: Files
    reason: Reason = left_out()


class CopyEdition(Described):
    """Which edition or draft becomes a new draft."""

    copy_of: Annotated[str, Field(pattern=EDITION_PATTERN, max_length=64)]
    version: Annotated[str, Field(pattern=EDITION_VERSION, max_length=20)]
    effective_from: Day = left_out()
    reason: Reason = left_out()


class StepReason(Described):
    """Why a step is taken."""

    reason: Reason = left_out()


class RetireReason(Described):
    """Why an edition is retired."""

    reason: Reason


class DraftFinding(Described):
    """One thing that a check found."""

    code: Line
    severity: Literal["error", "warning"]
    message: Words
    help: Words
    file: Line | None
    line: Count | None
    column: Count | None


class DraftCheck(Described):
    """What a check came to: everything that loading refuses, or its worked cases and every check."""

    day: Day
    passed: bool
    errors: Count
    warnings: Count
    worked_cases: Count
    checks_run: Count
    findings: Annotated[list[DraftFinding], Field(max_length=MOST_FINDINGS)]


class DraftStatement(Described):
    """One statement about every assessment. Where it does not hold, an assessment that breaks it is told."""

    id: Line
    family: Line
    statement: Words
    verdict: Literal["proved", "counterexample", "inconclusive"]
    seconds: Annotated[float, Field(ge=0, le=1_000_000)]
    note: Words | None
    reason: Words | None
    answers: Texts | None
    engine_says: Texts | None
    worked_case: Annotated[str, Field(max_length=100_000)] | None


class DraftProof(Described):
    """What the proofs came to."""

    passed: bool
    proved: Count
    statements: Annotated[list[DraftStatement], Field(max_length=100_000)]


class DraftSummary(Described):
    """A draft in short. `etag` names its files as they were saved; `digest` is that of the edition with its
    base, null before it was loaded; `saved_by` are all who ever saved it."""

    edition: EditionId
    organisation: Annotated[str, Field(max_length=64)]
    revision: Annotated[int, Field(ge=1, le=10**15)]
    etag: Annotated[str, Field(max_length=40)]
    state: State
    files_digest: Digest
    digest: Digest | None
    saved_by: Annotated[list[CallerId], Field(max_length=1_000_000)]
    saved_at: Moment
    approved_by: CallerId | None


class DraftDetail(DraftSummary):
    """A draft with what its check and its proof came to, null before; `files` only where they were asked
    for."""

    check: DraftCheck | None
    proof: DraftProof | None
    files: Files = left_out()


class DraftList(Described):
    """The drafts of the caller's organisation."""

    drafts: Annotated[list[DraftSummary], Field(max_length=100 * MOST_DRAFTS)]


class RetiredEdition(Described):
    """An edition that is retired now."""

    edition: EditionId
    status: Literal["retired"]


MODELS = (SaveDraft, CopyEdition, StepReason, RetireReason, DraftList, DraftDetail, RetiredEdition)
