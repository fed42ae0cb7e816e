"""Errors that only a caller over HTTP can meet; each has a type of the same name in the catalogue."""

from __future__ import annotations

from collections.abc import Sequence

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError


class MalformedRequest(LimbtierError):
    """A header of the request cannot be read."""

    code = "malformed-request"


class IdempotencyKeyMissing(LimbtierError):
    """The service is set to take decisions only with a key, and the request has none."""

    code = "idempotency-key-missing"


class Unauthorised(LimbtierError):
    """The request has no token that is accepted. `challenge` is the header WWW-Authenticate of the answer."""

    code = "unauthorised"

    def __init__(self, diagnostics: Sequence[Diagnostic], challenge: str) -> None:
        self.challenge = challenge
        super().__init__(diagnostics)


class InsufficientScope(LimbtierError):
    """The token is good, but not for this. `challenge` is the header WWW-Authenticate of the answer."""

    code = "insufficient-scope"

    def __init__(self, diagnostics: Sequence[Diagnostic], challenge: str) -> None:
        self.challenge = challenge
        super().__init__(diagnostics)


class BodyTooLarge(LimbtierError):
    """The body is longer than the service accepts; the rest of it was not read."""

    code = "body-too-large"


class UnsupportedMediaType(LimbtierError):
    """The body is not declared as plain JSON."""

    code = "unsupported-media-type"


class InvalidQuery(LimbtierError):
    """A query parameter is unknown, repeated, or has the wrong form."""

    code = "invalid-query"


class NotAcceptable(LimbtierError):
    """There is no form of the answer that the caller takes."""

    code = "not-acceptable"


class WorkFailed(LimbtierError):
    """Long work on an edition failed in a way that nobody foresaw; the log of the service has the rest."""

    code = "work-failed"


class NotReady(LimbtierError):
    """The service cannot make and store decisions now."""

    code = "not-ready"
