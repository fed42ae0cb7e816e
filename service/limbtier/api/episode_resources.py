"""Episodes over HTTP: what is known of one, and events between contacts."""

from __future__ import annotations

import asyncio
import re
from typing import Any, Final

import orjson
from fastapi import FastAPI, Request, Response

from limbtier.api.bearer import Access, security
from limbtier.api.idempotency_key import PARAMETER, read_idempotency_key
from limbtier.api.operations import JSON, NEEDS_TOKEN, answer, path_parameter, problems, reference
from limbtier.api.request_parts import read_json_body, read_query
from limbtier.domain.caller import DECIDE, READ
from limbtier.domain.episode import PATTERN
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.episodes import Episodes
from limbtier.use_cases.keep_event import EventKeeper, unknown_episode
from limbtier.use_cases.read_episode import read_episode

PATH: Final = "/v1/episodes/{reference}"
_REFERENCE: Final = path_parameter(
    "reference",
    "The reference that decisions of the episode were sent with.",
    {"pattern": PATTERN, "maxLength": 64},
)
_SHAPE: Final = re.compile(PATTERN.removesuffix("$") + r"\Z")


def add_episode_resources(
    app: FastAPI,
    decider: Decider,
    episodes: Episodes,
    keeper: EventKeeper,
    access: Access,
    most_body_bytes: int,
    *,
    needs_key: bool,
) -> None:
    """`needs_key`: whether an event must be sent with an `Idempotency-Key`, as decisions must."""

    async def read(request: Request) -> Response:
        caller = await access.caller(request, READ, DECIDE)
        read_query(request)
        loop = asyncio.get_running_loop()
        record = await loop.run_in_executor(
            None, read_episode, episodes, decider.rules.calendars, caller.organisation, _named(request)
        )
        return Response(orjson.dumps(record), media_type=JSON)

    async def keep(request: Request) -> Response:
        caller = await access.caller(request, DECIDE)
        read_query(request)
        key = read_idempotency_key(request, required=needs_key)
        body = await read_json_body(request, most_body_bytes)
        named = _named(request)
        _, data = await keeper.keep(named, body, caller, key)
        return Response(data, 201, {"Location": f"/v1/episodes/{named}"}, JSON)

    app.add_api_route(
        PATH,
        read,
        methods=["GET"],
        operation_id="readEpisode",
        tags=["episodes"],
        summary="Read an episode",
        description="What is known of it after its last contact or event, what is to be seen to today, and "
        "its contacts and events.",
        response_class=Response,
        responses={
            **answer(200, "The episode.", "Episode"),
            **problems("invalid-query", "not-found", "engines-disagree", "store-unavailable", *NEEDS_TOKEN),
        },
        openapi_extra={**security(READ, DECIDE), "parameters": [_REFERENCE]},
    )
    made: dict[int | str, dict[str, Any]] = answer(201, "The event, stored.", "StoredEvent")
    made[201]["headers"] = {
        "Location": {
            "description": "Where the episode can be read.",
            "required": True,
            "schema": {"type": "string", "pattern": f"^/v1/episodes/{PATTERN[1:]}", "maxLength": 80},
        }
    }
    app.add_api_route(
        f"{PATH}/events",
        keep,
        methods=["POST"],
        status_code=201,
        operation_id="addEpisodeEvent",
        tags=["episodes"],
        summary="Say what happened between contacts",
        description="The event is in the log, on the disk, before it is answered, and the next decision of "
        "the episode is completed with it. With an `Idempotency-Key` it can be sent again safely.",
        response_class=Response,
        responses={
            **made,
            **problems(
                "not-json",
                "body-too-large",
                "unsupported-media-type",
                "invalid-assessment",
                "invalid-query",
                "not-found",
                "idempotency-key-missing",
                "request-in-progress",
                "idempotency-key-reused",
                "store-unavailable",
                *NEEDS_TOKEN,
            ),
        },
        openapi_extra={
            **security(DECIDE),
            "requestBody": {
                "required": True,
                "description": "One event.",
                "content": {JSON: {"schema": reference("EpisodeEvent")}},
            },
            "parameters": [_REFERENCE, PARAMETER],
        },
    )


def _named(request: Request) -> str:
    """The episode of the path; a name that no episode can have is unknown."""
    found: str = request.path_params["reference"]
    if not _SHAPE.match(found):
        raise unknown_episode()
    return found
