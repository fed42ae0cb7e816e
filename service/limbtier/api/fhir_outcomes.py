"""Turns every problem that the service answers with below `/fhir` into an OperationOutcome."""

from __future__ import annotations

from typing import Any, Final

import orjson
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from limbtier.api.problems import MEDIA_TYPE as PROBLEM
from limbtier.interop.fhir.identifiers import Identifiers
from limbtier.interop.fhir.outcome import operation_outcome

FHIR_JSON: Final = "application/fhir+json"
PREFIX: Final = "/fhir"
_ROOT: Final = "limbtier.fhir_root"


def remember_root(scope: Scope, root: str) -> None:
    """Keep the type of the resource that was sent, for the FHIRPaths of an OperationOutcome."""
    scope[_ROOT]["root"] = root


class FhirOutcomes:
    """Pure ASGI around the whole application, so that no error answer below `/fhir` is missed."""

    def __init__(self, app: ASGIApp, names: Identifiers) -> None:
        self.app = app
        self._names = names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        path = scope.get("path", "")
        if scope["type"] != "http" or not (path == PREFIX or path.startswith(f"{PREFIX}/")):
            await self.app(scope, receive, send)
            return
        scope[_ROOT] = {}
        held: list[Message] = []
        body = bytearray()

        async def send_outcome(message: Message) -> None:
            if message["type"] == "http.response.start":
                if (b"content-type", PROBLEM.encode()) in message["headers"]:
                    held.append(message)
                    return
            elif held:
                body.extend(message.get("body", b""))
                if message.get("more_body"):
                    return
                start = held.pop()
                message = {**message, "body": self._outcome(bytes(body), scope)}
                await send({**start, "headers": _headers(start["headers"], len(message["body"]))})
            await send(message)

        await self.app(scope, receive, send_outcome)

    def _outcome(self, problem: bytes, scope: Scope) -> bytes:
        if not problem:  # the answer to HEAD
            return b""
        root = scope[_ROOT].get("root", "Resource")
        found: dict[str, Any] = operation_outcome(orjson.loads(problem), root, self._names)
        return orjson.dumps(found)


def _headers(given: list[tuple[bytes, bytes]], length: int) -> list[tuple[bytes, bytes]]:
    kept = [pair for pair in given if pair[0] not in (b"content-type", b"content-length")]
    kept.append((b"content-type", FHIR_JSON.encode()))
    if length:  # else it is the answer to HEAD, whose length would be that of GET
        kept.append((b"content-length", str(length).encode()))
    return kept
