"""Lets pages of configured origins call the CDS Hooks services from a browser (CORS, Fetch standard).

It is put in only where origins are configured, and touches no other path. Credentials of the browser are
never allowed: clients send a token of their own.
"""

from __future__ import annotations

from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

PATH: Final = "/cds-services"
_ALLOWED: Final = (
    (b"access-control-allow-methods", b"GET, POST"),
    (b"access-control-allow-headers", b"authorization, content-type"),
    (b"access-control-max-age", b"600"),
)


class CdsHooksOrigins:
    """Pure ASGI, around the application."""

    def __init__(self, app: ASGIApp, origins: tuple[str, ...]) -> None:
        self.app = app
        self._origins = frozenset(origin.encode("ascii") for origin in origins)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        path = scope.get("path", "")
        if scope["type"] != "http" or not (path == PATH or path.startswith(f"{PATH}/")):
            await self.app(scope, receive, send)
            return
        given = [value for name, value in scope["headers"] if name == b"origin"]
        origin = given[0] if len(given) == 1 and given[0] in self._origins else None
        asked = {name for name, _ in scope["headers"]}
        if origin and scope["method"] == "OPTIONS" and b"access-control-request-method" in asked:
            headers = [(b"access-control-allow-origin", origin), (b"vary", b"Origin"), *_ALLOWED]
            await send({"type": "http.response.start", "status": 204, "headers": headers})
            await send({"type": "http.response.body", "body": b""})
            return

        async def send_with_origin(message: Message) -> None:
            if message["type"] == "http.response.start":
                allowed = [(b"access-control-allow-origin", origin)] if origin else []
                message["headers"] = [*message["headers"], (b"vary", b"Origin"), *allowed]
            await send(message)

        await self.app(scope, receive, send_with_origin)
