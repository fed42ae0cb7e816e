"""Every error the service raises on purpose.

LimbtierError
├── InvalidAssessment     the assessment cannot be read; every bad field is named
├── InvalidRuleFiles      an edition, guard rails or a calendar cannot be loaded
├── NotFound              no such decision or edition
├── EditionUnavailable    a stored decision cannot be made again: its edition is not here
├── RequestInProgress     a request with the same retry key has not been answered yet
├── RetryKeyReused        a retry key was used for another request
├── EnginesDisagree       matcher and interpreter named different rules: no answer is given
├── GuardRailBroken       a decision would break a safety property: no answer is given
└── StoreUnavailable      the decision cannot be stored, so it is not given
"""

from __future__ import annotations

from collections.abc import Sequence

from limbtier.foundation.diagnostics import Diagnostic


class LimbtierError(Exception):
    """Base of all: a stable `code`, and at least one diagnostic that says what to do."""

    code = "limbtier-error"

    def __init__(self, diagnostics: Sequence[Diagnostic]) -> None:
        self.diagnostics = tuple(diagnostics)
        super().__init__("\n".join(str(diagnostic) for diagnostic in self.diagnostics))


class InvalidAssessment(LimbtierError):
    """The assessment cannot be read; nothing was decided."""

    code = "invalid-assessment"


class InvalidRuleFiles(LimbtierError):
    """Rule files cannot be loaded; nothing of them is used."""

    code = "invalid-rule-files"


class NotFound(LimbtierError):
    """What was asked for does not exist."""

    code = "not-found"


class EditionUnavailable(LimbtierError):
    """The edition that made a stored decision is not on this service as it was."""

    code = "edition-unavailable"


class RequestInProgress(LimbtierError):
    """A request with the same retry key has not been answered yet."""

    code = "request-in-progress"


class RetryKeyReused(LimbtierError):
    """The retry key was used for a request with another body."""

    code = "idempotency-key-reused"


class EnginesDisagree(LimbtierError):
    """The two engines named different rules for one limb; no answer is given."""

    code = "engines-disagree"


class GuardRailBroken(LimbtierError):
    """The decision would break a guard rail; no answer is given."""

    code = "guard-rail-broken"


class StoreUnavailable(LimbtierError):
    """The decision could not be stored, so it is not given."""

    code = "store-unavailable"


class UnsupportedConstruct(LimbtierError):
    """An edition holds something that has no formula, so nothing is proved about it: never passed over."""

    code = "unsupported-by-prover"
