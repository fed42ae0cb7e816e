"""Turns every error into problem details (RFC 9457), naming all that is wrong and nothing of the inside."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

import orjson
from fastapi import FastAPI, Request, Response
from starlette.exceptions import HTTPException
from starlette.routing import Match, Route

from limbtier.api.errors import InsufficientScope, Unauthorised
from limbtier.api.findings import FINDINGS
from limbtier.api.problems import MEDIA_TYPE, PROBLEM_TYPES, ProblemType
from limbtier.foundation.clock import new_id
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError

MOST_ERRORS = 500
log = logging.getLogger("limbtier.api")


def add_problem_handlers(app: FastAPI) -> None:
    """Answer every error raised on purpose, and every one of the router, as a problem."""
    app.add_exception_handler(LimbtierError, _on_purpose)
    app.add_exception_handler(HTTPException, _of_router)


def problem_body(kind: ProblemType, found: Sequence[Diagnostic], instance: str | None = None) -> bytes:
    """The problem as JSON. `instance` names this one occurrence, as the log does."""
    shown = found[:MOST_ERRORS]
    which = "each" if len(shown) == len(found) else f"the first {len(shown)}"
    several = f"{len(found)} things are wrong; `errors` names {which}."
    problem: dict[str, Any] = {
        "type": kind.type,
        "title": kind.title,
        "status": kind.status,
        "detail": found[0].message if len(found) == 1 else several,
    }
    if instance is not None:
        problem["instance"] = instance
    problem["errors"] = [_entry(item) for item in shown]
    return orjson.dumps(problem)


def problem_response(
    code: str, found: Sequence[Diagnostic], headers: Mapping[str, str] | None = None
) -> Response:
    """The answer for a problem type of the catalogue.

    What is the service's own fault is told in the words of the catalogue, with an `instance` under which the
    log has the rest: names of files, rules and libraries are nothing a caller can act on.
    """
    kind = PROBLEM_TYPES[code]
    if kind.status < 500:
        return Response(problem_body(kind, found), kind.status, headers, MEDIA_TYPE)
    instance = f"urn:uuid:{new_id()}"
    log.error("%s %s: %s", instance, code, " ".join(f"{one.message} {one.help}" for one in found))
    told = [Diagnostic(item.code, FINDINGS[item.code].meaning, FINDINGS[item.code].advice) for item in found]
    return Response(problem_body(kind, told, instance), kind.status, headers, MEDIA_TYPE)


def internal_error(error: Exception) -> Response:
    """The answer when something failed unforeseen. The log gets the error; the caller, where to find it."""
    instance = f"urn:uuid:{new_id()}"
    log.error("%s internal-error", instance, exc_info=error)
    kind, finding = PROBLEM_TYPES["internal-error"], FINDINGS["internal-error"]
    told = [Diagnostic(finding.code, finding.meaning, finding.advice)]
    return Response(problem_body(kind, told, instance), kind.status, media_type=MEDIA_TYPE)


async def _on_purpose(_request: Request, error: Exception) -> Response:
    if not isinstance(error, LimbtierError) or error.code not in PROBLEM_TYPES:
        return internal_error(error)
    headers: dict[str, str] = {}
    if (
        error.code == "body-too-large"
    ):  # the rest is not read, so no other request can follow on the connection
        headers["Connection"] = "close"
    elif error.code == "too-much-work":
        headers["Retry-After"] = "60"
    elif isinstance(error, Unauthorised | InsufficientScope):
        headers["WWW-Authenticate"] = error.challenge
    return problem_response(error.code, error.diagnostics, headers)


async def _of_router(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    if status == 405:
        allowed = _allowed(request)
        if request.method == "OPTIONS":
            return Response(status_code=204, headers={"Allow": allowed})
        finding = Diagnostic("method-not-allowed", "The method is not taken here.", f"Use {allowed}.")
        return problem_response("method-not-allowed", [finding], {"Allow": allowed})
    if status == 404:
        advice = "Compare the path with the description of the API at /docs."
        return problem_response("unknown-route", [Diagnostic("unknown-route", "Nothing is here.", advice)])
    return internal_error(error)


def _allowed(request: Request) -> str:
    """The methods of an address: those of all its routes, HEAD wherever GET is, and OPTIONS everywhere."""
    methods: set[str] = set()
    for route in request.app.routes:
        if isinstance(route, Route) and route.matches(request.scope)[0] is not Match.NONE:
            methods |= route.methods or set()
    if "GET" in methods:
        methods.add("HEAD")
    return ", ".join(sorted(methods | {"OPTIONS"}))


def _entry(item: Diagnostic) -> dict[str, str]:
    entry = {"code": item.code}
    if item.pointer is not None:
        entry["pointer"] = pointer_fragment(item.pointer)
    return {**entry, "detail": item.message, "help": item.help}


def pointer_fragment(pointer: str) -> str:
    """A JSON pointer as a URI fragment (RFC 6901, section 6), as in the example of RFC 9457."""
    return "#" + quote(pointer, safe="/~!$&'()*+,;=:@?-._")
