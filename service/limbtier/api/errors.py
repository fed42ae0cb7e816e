"""Errors that only a caller over HTTP can meet; each has a type of the same name in the catalogue."""

from __future__ import annotations

from limbtier.foundation.errors import LimbtierError


class MalformedRequest(LimbtierError):
    """A header of the request cannot be read."""

    code = "malformed-request"


class BodyTooLarge(LimbtierError):
    """The body is longer than the service accepts; the rest of it was not read."""

    code = "body-too-large"


class UnsupportedMediaType(LimbtierError):
    """The body is not declared as plain JSON."""

    code = "unsupported-media-type"


class InvalidQuery(LimbtierError):
    """A query parameter is unknown, repeated, or has the wrong form."""

    code = "invalid-query"


class NotReady(LimbtierError):
    """The service cannot make and store decisions now."""

    code = "not-ready"
