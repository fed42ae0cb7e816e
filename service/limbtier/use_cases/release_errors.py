"""Why a step towards the release of an edition is not taken; then nothing was changed."""

from __future__ import annotations

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError, NotFound


class InvalidDraft(LimbtierError):
    """What was sent cannot be kept as a draft, or cannot be asked of one."""

    code = "invalid-draft"


class DraftStale(LimbtierError):
    """The draft is not, or no longer, the one that the caller has seen."""

    code = "precondition-failed"


class StepRefused(LimbtierError):
    """The step cannot be taken as things are."""

    code = "step-refused"


def no_such_draft() -> NotFound:
    """The error for a draft that is not there, or is another organisation's."""
    advice = "`/v1/drafts` lists the drafts of your organisation."
    return NotFound([Diagnostic("unknown-draft", "There is no such draft.", advice)])


def refusal(code: str, message: str, advice: str) -> StepRefused:
    """The error with one reason."""
    return StepRefused([Diagnostic(code, message, advice)])
