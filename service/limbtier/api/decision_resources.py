"""Decisions and previews over HTTP. The bytes of an answer pass through as the use case wrote them."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final

from fastapi import FastAPI, Request, Response

from limbtier.api.bearer import Access, security
from limbtier.api.errors import InvalidQuery
from limbtier.api.idempotency_key import PARAMETER, read_idempotency_key
from limbtier.api.operations import JSON, NEEDS_TOKEN, answer, problems, reference
from limbtier.api.plain_route import PlainRoute
from limbtier.api.request_parts import read_json_body, read_query
from limbtier.api.schema_types import DECISION_ID_PATTERN
from limbtier.domain.caller import DECIDE
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.make_decision import DecisionMaker
from limbtier.use_cases.next_questions import FormQuestions

_BODY: Final[dict[str, Any]] = {
    **security(DECIDE),
    "requestBody": {
        "required": True,
        "description": "One assessment.",
        "content": {JSON: {"schema": reference("AssessmentRequest")}},
    },
}
NEXT_QUESTIONS: Final = "next_questions"
_NEXT_QUESTIONS: Final[dict[str, Any]] = {
    "name": NEXT_QUESTIONS,
    "in": "query",
    "required": False,
    "description": "Whether the answer also says what to ask next. It takes some 20 ms more for each leg.",
    "schema": {"type": "string", "enum": ["true", "false"], "default": "false"},
}
_REFUSALS: Final = (
    "not-json",
    "body-too-large",
    "unsupported-media-type",
    "invalid-assessment",
    "invalid-query",
    "engines-disagree",
    "guard-rail-broken",
    *NEEDS_TOKEN,
)


def add_decision_resources(
    app: FastAPI,
    decider: Decider,
    maker: DecisionMaker,
    access: Access,
    most_body_bytes: int,
    *,
    needs_key: bool,
) -> None:
    """Previews come from the decider, decisions from the maker. `needs_key`: whether a decision must be
    asked for with an `Idempotency-Key`."""

    forms = FormQuestions(decider, maker.follow_ups)
    # Looking ahead from a form takes as long as some thirty decisions: those must not wait for it.
    looking_ahead = ThreadPoolExecutor(max_workers=1, thread_name_prefix="limbtier-form")

    # Deciding only computes, so it runs on the event loop: the way to a thread and back would cost about a
    # third of what HTTP itself costs. What is decided in one turn of the loop shares one wait for the disk.

    async def preview(request: Request) -> Response:
        caller = await access.caller(request, DECIDE)
        wanted = _wants_next_questions(read_query(request, (NEXT_QUESTIONS,)))
        body = await read_json_body(request, most_body_bytes)
        if not wanted:
            return Response(await maker.preview(body, caller), media_type=JSON)
        loop = asyncio.get_running_loop()
        answered = await loop.run_in_executor(looking_ahead, forms.preview, body, caller.organisation)
        return Response(answered, media_type=JSON)

    async def decide(request: Request) -> Response:
        caller = await access.caller(request, DECIDE)
        read_query(request)
        key = read_idempotency_key(request, required=needs_key)
        body = await read_json_body(request, most_body_bytes)
        return _made(*await maker.make(body, caller, key))

    app.router.add_api_route(
        "/v1/previews",
        preview,
        methods=["POST"],
        operation_id="previewDecision",
        tags=["decisions"],
        summary="Decide an assessment without storing anything",
        description="The same answer as a decision would give, with the id null. Nothing is stored. With "
        "`next_questions=true` it also says what a form should ask next; then a leg may have no answer yet.",
        response_class=Response,
        responses={**answer(200, "The answer.", "Preview"), **problems(*_REFUSALS, "store-unavailable")},
        openapi_extra={**_BODY, "parameters": [_NEXT_QUESTIONS]},
        route_class_override=PlainRoute,
    )
    stored = answer(201, "The decision, stored.", "StoredDecision")
    stored[201]["headers"] = {
        "Location": {
            "description": "Where the decision can be read.",
            "required": True,
            "schema": {
                "type": "string",
                "pattern": f"^/v1/decisions/{DECISION_ID_PATTERN[1:]}",
                "maxLength": 60,
            },
        }
    }
    stored[201]["links"] = {
        "readDecision": {
            "operationId": "readDecision",
            "parameters": {"decision_id": "$response.body#/id"},
            "description": "Read the decision back.",
        }
    }
    app.router.add_api_route(
        "/v1/decisions",
        decide,
        methods=["POST"],
        status_code=201,
        operation_id="makeDecision",
        tags=["decisions"],
        summary="Decide an assessment and store the decision",
        description="The decision is in the log, on the disk, before it is given; one that cannot be logged "
        "is not given. With an `Idempotency-Key` the same request can be sent again safely.",
        response_class=Response,
        responses={
            **stored,
            **problems(
                *_REFUSALS,
                "idempotency-key-missing",
                "request-in-progress",
                "idempotency-key-reused",
                "store-unavailable",
            ),
        },
        openapi_extra={**_BODY, "parameters": [PARAMETER]},
        route_class_override=PlainRoute,
    )


def _wants_next_questions(query: Mapping[str, str]) -> bool:
    """Raises InvalidQuery."""
    value = query.get(NEXT_QUESTIONS, "false")
    if value not in ("true", "false"):
        message = f"`{NEXT_QUESTIONS}` is neither true nor false."
        advice = f"Write `{NEXT_QUESTIONS}=true`, or leave it out."
        raise InvalidQuery([Diagnostic("bad-parameter", message, advice)])
    return value == "true"


def _made(decision_id: str, data: bytes) -> Response:
    return Response(data, 201, {"Location": f"/v1/decisions/{decision_id}"}, JSON)
