"""Bearer tokens over HTTP (RFC 6750): who asks, and whether that caller may.

Every resource names the scopes of which its caller needs one; those that name none are open to everybody.
What is refused for want of a good token is told in one and the same answer whatever was wrong, and in the log
`limbtier.access` with a code for the reason, never with the token or a part of it.
"""

from __future__ import annotations

import asyncio
import logging
import re
from collections.abc import Awaitable, Callable, Iterable
from typing import Any, Final

from fastapi import Request

from limbtier.api.errors import InsufficientScope, Unauthorised
from limbtier.domain.caller import APPROVE, AUDIT, DECIDE, EDIT, READ, Caller
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.interop.bearer_tokens import LONGEST_TOKEN, TokenRefused
from limbtier.use_cases.authorise import Authoriser

access_log = logging.getLogger("limbtier.access")

ANY_SCOPE: Final = (DECIDE, READ, EDIT, APPROVE, AUDIT)
"""For what every caller may."""

Refused = Callable[[Caller, str, str], Awaitable[None]]
"""Told of a caller who asked for what it may not: the caller, the act (method and route, as in
`POST /v1/decisions`) and the scopes that are needed, with a space between them."""

SCHEME: Final = "token"
SECURITY_SCHEMES: Final[dict[str, Any]] = {
    SCHEME: {
        "type": "http",
        "scheme": "bearer",
        "description": "A local key (`lt_...`), made with `limbtier keys add`, or a signed token (JWT) of "
        "the issuer that the service is set up with. The names at each operation are scopes; one of them is "
        "needed.",
    }
}
_CHALLENGE: Final = 'Bearer realm="limbtier"'
# RFC 6750, 2.1; the name of the scheme in any case (RFC 9110, 11.1).
_CREDENTIALS: Final = re.compile(rb"(?i:bearer) +([A-Za-z0-9._~+/-]+=*)")
_OTHER_SCHEME: Final = re.compile(rb"(?!(?i:bearer)(?: |\Z))[!#$%&'*+.^_`|~0-9A-Za-z-]+(?: [ -~]*)?")


def security(*needed: str) -> dict[str, Any]:
    """What an operation that needs one of the scopes says of it in the description of the API."""
    return {"security": [{SCHEME: [scope]} for scope in needed]}


class Access:
    """Lets callers in. One for an application."""

    def __init__(self, authoriser: Authoriser, refused: Refused) -> None:
        self._authoriser = authoriser
        self._refused = refused
        self._refreshing = asyncio.Lock()

    async def caller(self, request: Request, *needed: str) -> Caller:
        """The caller, who has one of the scopes needed. Raises Unauthorised, InsufficientScope or
        StoreUnavailable."""
        if self._authoriser.is_stale():
            await self._refresh()
        try:
            caller = self._authoriser.caller(bearer_token(request.scope["headers"]))
        except TokenRefused as refusal:
            raise unauthorised(request, refusal.reason) from None
        if caller.scopes.isdisjoint(needed):
            scopes = " ".join(needed)
            await self._refused(caller, _act(request), scopes)
            raise _insufficient(scopes)
        return caller

    async def _refresh(self) -> None:
        async with self._refreshing:
            if self._authoriser.is_stale():  # else another request has done it meanwhile
                await asyncio.get_running_loop().run_in_executor(None, self._authoriser.refresh)


def bearer_token(headers: Iterable[tuple[bytes, bytes]]) -> str:
    """The token of a request. Raises TokenRefused."""
    given = [value for name, value in headers if name == b"authorization"]
    if not given:
        raise TokenRefused("no-token")
    if len(given) > 1:
        raise TokenRefused("header-repeated")
    if len(given[0]) > LONGEST_TOKEN + len("Bearer "):
        raise TokenRefused("token-too-long")
    credentials = _CREDENTIALS.fullmatch(given[0])
    if credentials is None:
        raise TokenRefused("other-scheme" if _OTHER_SCHEME.fullmatch(given[0]) else "header-form")
    return credentials[1].decode("ascii")


def unauthorised(request: Request, reason: str) -> Unauthorised:
    """The answer to a bad token or none. Only what the sender knows anyway is told apart: that there was no
    token, that the header has another form, and that a token with a good signature has expired."""
    if reason in ("no-token", "other-scheme"):
        access_log.info("401 %s: %s", _act(request), reason)
        code, message, challenge = "no-token", "The request carries no bearer token.", _CHALLENGE
        advice = "Send the header `Authorization: Bearer` with a key or a token."
    else:
        access_log.warning("401 %s: %s", _act(request), reason)
        code, message = "token-refused", "The token is not accepted."
        advice = (
            "Use a key that is in use, or get a new token. Whoever runs the service finds why in its log."
        )
        if reason in ("header-repeated", "header-form"):
            code, message = "bad-authorization-header", "The header Authorization cannot be read."
            advice = "Send it once, as `Bearer`, a space, and the token."
        elif reason == "token-expired":
            code, message, advice = "token-expired", "The token has expired.", "Get a new one."
        challenge = f'{_CHALLENGE}, error="invalid_token", error_description="{message}"'
    return Unauthorised([Diagnostic(code, message, advice)], challenge)


def _insufficient(scopes: str) -> InsufficientScope:
    shown = " or ".join(f"`{scope}`" for scope in scopes.split(" "))
    advice = "Use a token with that scope, or ask whoever runs the service for one."
    found = Diagnostic("insufficient-scope", f"The token is good, but this needs the scope {shown}.", advice)
    challenge = f'{_CHALLENGE}, error="insufficient_scope", scope="{scopes}"'
    return InsufficientScope([found], challenge)


def _act(request: Request) -> str:
    """Method and route; the route and not the path, which may name a decision."""
    scope = request.scope
    return f"{scope['method']} {getattr(scope.get('route'), 'path', '')}"
