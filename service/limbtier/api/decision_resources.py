"""Decisions and previews over HTTP. The bytes of an answer pass through as the use case wrote them."""

from __future__ import annotations

import asyncio
import re
from concurrent.futures import Executor
from typing import Any, Final

import orjson
from fastapi import FastAPI, Request, Response

from limbtier.api.bearer import Access, security
from limbtier.api.operations import JSON, NEEDS_TOKEN, answer, path_parameter, problems, reference
from limbtier.api.request_parts import read_json_body, read_query
from limbtier.api.schema_types import DECISION_ID_PATTERN
from limbtier.domain.caller import DECIDE, READ
from limbtier.domain.entry import Entry
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import NotFound
from limbtier.store.decisions import DecisionStore
from limbtier.use_cases.decide import Decider

_ID: Final = re.compile(DECISION_ID_PATTERN.removesuffix("$") + r"\Z")
_BODY: Final[dict[str, Any]] = {
    **security(DECIDE),
    "requestBody": {
        "required": True,
        "description": "One assessment.",
        "content": {JSON: {"schema": reference("AssessmentRequest")}},
    },
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
    store: DecisionStore,
    writer: Executor,
    access: Access,
    most_body_bytes: int,
) -> None:
    """`writer` runs whatever waits for the disk."""

    async def preview(request: Request) -> Response:
        await access.caller(request, DECIDE)
        read_query(request)
        body = await read_json_body(request, most_body_bytes)
        # Run here and not in a thread: it only computes, so a thread would not answer sooner, and the way to
        # one and back costs about a third of what HTTP itself costs.
        return Response(decider.preview(body), media_type=JSON)

    async def decide(request: Request) -> Response:
        caller = await access.caller(request, DECIDE)
        read_query(request)
        body = await read_json_body(request, most_body_bytes)

        # A decision waits until the disk has it. Waiting here would hold up every other request, so it waits
        # in a thread; in a single one, because the database takes one writer at a time anyway, and every
        # further thread that decides would need a matcher of its own.
        def decided() -> Entry:
            entry = decider.entry(body, caller)
            store.append(entry.id, "", entry.at, entry.data)
            return entry

        entry = await asyncio.get_running_loop().run_in_executor(writer, decided)
        return Response(entry.data, 201, {"Location": f"/v1/decisions/{entry.id}"}, JSON)

    async def read_decision(request: Request) -> Response:
        caller = await access.caller(request, READ)
        read_query(request)
        decision_id = str(request.path_params["decision_id"])
        record: bytes | None = None
        if _ID.match(decision_id):
            # In the same thread as the writing: here it would wait for a writer and hold up everybody.
            record = await asyncio.get_running_loop().run_in_executor(writer, store.read, decision_id)
        # What belongs to another organisation is not there.
        if record is None or orjson.loads(record)["caller"]["organisation"] != caller.organisation:
            advice = "Use the id that the decision was given with; previews are not stored."
            raise NotFound([Diagnostic("unknown-decision", "No decision has this id.", advice)])
        return Response(record, media_type=JSON)

    app.add_api_route(
        "/v1/previews",
        preview,
        methods=["POST"],
        operation_id="previewDecision",
        tags=["decisions"],
        summary="Decide an assessment without storing anything",
        description="The same answer as a decision would give, with the id null. Nothing is stored.",
        response_class=Response,
        responses={**answer(200, "The answer.", "Preview"), **problems(*_REFUSALS)},
        openapi_extra=_BODY,
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
    app.add_api_route(
        "/v1/decisions",
        decide,
        methods=["POST"],
        status_code=201,
        operation_id="makeDecision",
        tags=["decisions"],
        summary="Decide an assessment and store the decision",
        description="The decision is on the disk before it is given; one that cannot be stored is not given.",
        response_class=Response,
        responses={**stored, **problems(*_REFUSALS, "store-unavailable")},
        openapi_extra=_BODY,
    )
    app.add_api_route(
        "/v1/decisions/{decision_id}",
        read_decision,
        methods=["GET"],
        operation_id="readDecision",
        tags=["decisions"],
        summary="Read a decision",
        description="The decision byte for byte as it was given.",
        response_class=Response,
        responses={
            **answer(200, "The decision.", "StoredDecision"),
            **problems("not-found", "invalid-query", "store-unavailable", *NEEDS_TOKEN),
        },
        openapi_extra={
            **security(READ),
            "parameters": [
                path_parameter(
                    "decision_id",
                    "The id that the decision was given with.",
                    {"pattern": DECISION_ID_PATTERN, "maxLength": 36},
                )
            ],
        },
    )
