"""The header `Idempotency-Key`, by which a caller may send the same request again safely.

Its form is that of the IETF draft `draft-ietf-httpapi-idempotency-key-header`: a String of structured fields
(RFC 9651, 3.3.3; RFC 8941 before it), so it stands in quotation marks.
"""

from __future__ import annotations

import re
from typing import Any, Final

from fastapi import Request

from limbtier.api.errors import IdempotencyKeyMissing, MalformedRequest
from limbtier.foundation.diagnostics import Diagnostic

HEADER: Final = "Idempotency-Key"
LONGEST: Final = 255
_NAME: Final = HEADER.lower().encode()
# RFC 9651, 4.2.5: printable ASCII, in which only a quotation mark and a backslash may and must be escaped.
_STRING: Final = re.compile(rb' *"((?:[ !#-\[\]-~]|\\["\\])*)" *')
_ESCAPED: Final = re.compile(rb'\\(["\\])')

PARAMETER: Final[dict[str, Any]] = {
    "name": HEADER,
    "in": "header",
    "required": False,
    "description": "A key of the caller's own for this request, in quotation marks; a fresh UUID is best. "
    "The same request sent again with the same key is answered again with the same decision.",
    # Escapes are taken, too, but a fresh UUID needs none.
    "schema": {"type": "string", "pattern": r'^"[ !#-\[\]-~]{1,255}"$'},
    "example": '"0b7a4f6e-6a0c-4a0e-9d0b-3f6d3c1f2a77"',
}


def read_idempotency_key(request: Request, *, required: bool) -> str | None:
    """The key, without its quotation marks; None when there is none. Raises MalformedRequest, or
    IdempotencyKeyMissing where one is required."""
    given = [value for name, value in request.scope["headers"] if name == _NAME]
    if not given:
        if required:
            message, advice = "This service takes a decision only with a key.", _advice()
            raise IdempotencyKeyMissing([Diagnostic("idempotency-key-missing", message, advice)])
        return None
    if len(given) > 1:
        raise _malformed(f"The header {HEADER} stands more than once.")
    key = parse_string(given[0])
    if key is None:
        raise _malformed(f"The header {HEADER} is no text in quotation marks.")
    if not 0 < len(key) <= LONGEST:
        raise _malformed(f"The key has {len(key)} characters.")
    return key


def parse_string(value: bytes) -> str | None:
    """The text of a header field that is one String (RFC 9651) without parameters; None when it is not."""
    found = _STRING.fullmatch(value)
    return None if found is None else _ESCAPED.sub(rb"\1", found[1]).decode("ascii")


def _malformed(message: str) -> MalformedRequest:
    return MalformedRequest([Diagnostic("bad-idempotency-key", message, _advice())])


def _advice() -> str:
    return f"Send the header once, as in `{HEADER}: {PARAMETER['example']}`, with 1 to {LONGEST} characters."
