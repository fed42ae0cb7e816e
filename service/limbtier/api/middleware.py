"""What surrounds every request: headers of every answer, HEAD, and errors that nobody foresaw."""

from __future__ import annotations

from typing import Final

from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from limbtier.api.problem_responses import internal_error

# Set on every answer that does not set its own. Decisions are about people: no cache may keep one.
HEADERS: Final = (
    (b"cache-control", b"no-store"),
    (
        b"content-security-policy",
        b"default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
    ),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
)


class Surroundings:
    """Pure ASGI, because a middleware that wraps requests in tasks costs more than a preview does."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        head = scope["method"] == "HEAD"
        started = False

        async def send_with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                own = {name for name, _ in message["headers"]}
                message["headers"] = [*message["headers"], *(pair for pair in HEADERS if pair[0] not in own)]
            elif head:
                message = {**message, "body": b""}
            await send(message)

        # HEAD is answered as GET without the body (RFC 9110, 9.3.2), so that no resource has to know it.
        inner = {**scope, "method": "GET"} if head else scope
        try:
            await self.app(inner, receive, send_with_headers)
        except ClientDisconnect:
            return  # nobody is left to answer
        except Exception as error:  # noqa: BLE001 - the caller gets a problem, whatever failed
            answer = internal_error(error)
            if not started:
                await answer(inner, receive, send_with_headers)
