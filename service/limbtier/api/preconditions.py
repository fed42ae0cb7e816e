"""Preconditions of requests (RFC 9110, 13.1): a change says which state it was made for, so that nobody
overwrites or approves what he has not seen."""

from __future__ import annotations

import re
from typing import Any, Final

from fastapi import Request

from limbtier.api.errors import MalformedRequest
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError

_ETAG: Final = re.compile(r'"[!#-~]{1,64}"')
ETAG_SCHEMA: Final[dict[str, Any]] = {
    "type": "string",
    "pattern": '^"[0-9]{1,15}-[0-9a-f]{16}"$',
    "maxLength": 40,
}


class PreconditionMissing(LimbtierError):
    """A change does not say which state it is made for."""

    code = "precondition-required"


def if_match(request: Request) -> str:
    """The ETag of the state that the caller has seen. Raises PreconditionMissing or MalformedRequest."""
    found = _one(request, "If-Match")
    if found is None or found == "*":
        raise _missing("Send the header `If-Match` with the ETag that the draft was read with.")
    return _etag(found)


def creating_or_changing(request: Request) -> str | None:
    """None where something new is made (`If-None-Match: *`), else the ETag of what is changed. Raises
    PreconditionMissing or MalformedRequest."""
    match, none_match = _one(request, "If-Match"), _one(request, "If-None-Match")
    if none_match is None:
        if match is None or match == "*":
            raise _missing(
                "Send `If-None-Match: *` to create, or `If-Match` with the ETag of what you change."
            )
        return _etag(match)
    if match is not None or none_match != "*":
        raise _malformed("If-None-Match", "Send `If-None-Match: *` alone to create.")
    return None


def parameter(name: str, description: str, schema: dict[str, Any], *, required: bool) -> dict[str, Any]:
    """A precondition as the description of the API has it."""
    return {
        "name": name,
        "in": "header",
        "required": required,
        "description": description,
        "schema": schema,
    }


IF_MATCH: Final = parameter("If-Match", "The ETag of the draft as it was read.", ETAG_SCHEMA, required=True)


def _one(request: Request, name: str) -> str | None:
    given = request.headers.getlist(name)
    if len(given) > 1:
        raise _malformed(name, "Send it once.")
    return given[0].strip() if given else None


def _etag(text: str) -> str:
    if not _ETAG.fullmatch(text):
        raise _malformed("If-Match", "Send one ETag in its quotation marks, as it was received.")
    return text


def _malformed(name: str, advice: str) -> MalformedRequest:
    return MalformedRequest([Diagnostic("bad-header", f"The header {name} cannot be used.", advice)])


def _missing(advice: str) -> PreconditionMissing:
    message = "The request does not say which state it is made for."
    return PreconditionMissing([Diagnostic("precondition-required", message, advice)])
