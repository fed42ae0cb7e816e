"""Whether the service runs, and whether it can make and store decisions."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from typing import Annotated, Literal

import orjson
from fastapi import FastAPI, Request, Response
from pydantic import Field

from limbtier.api.errors import NotReady
from limbtier.api.operations import JSON, answer, problems
from limbtier.api.schema_types import Described, EditionId, Moment
from limbtier.audit.log import Log
from limbtier.foundation.clock import Clock
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import StoreUnavailable
from limbtier.use_cases.decide import Decider


class Live(Described):
    """The service runs."""

    status: Literal["live"]


class Ready(Described):
    """The service can make decisions, and the log takes them. While `signing` is failing, they are in the log
    but not signed yet; if that lasts, the service is not ready any more."""

    status: Literal["ready"]
    store: Literal["writable"]
    signing: Literal["working", "failing"]
    signing_failing_since: Moment | None
    active_edition: EditionId
    editions: Annotated[list[EditionId], Field(max_length=1000)]


def add_health_resources(
    app: FastAPI,
    decider: Decider,
    log: Log,
    clock: Clock,
    release_faults: Callable[[], Sequence[Diagnostic]],
) -> None:
    """Query parameters are ignored here, because probes like to add some. `release_faults` says why the rules
    are not those that were released, if so."""

    async def live(_request: Request) -> Response:
        return Response(b'{"status":"live"}', media_type=JSON)

    async def ready(_request: Request) -> Response:
        rules = decider.rules
        active = rules.edition(None, clock())
        found = list(release_faults())
        try:
            await asyncio.get_running_loop().run_in_executor(None, log.check)
        except StoreUnavailable as error:
            found += error.diagnostics
        if active is None:
            advice = "Add an edition that is in force to the rules folder."
            found.append(Diagnostic("no-edition-in-force", "No edition is in force today.", advice))
        if found or active is None:
            raise NotReady(found)
        failing_since = log.signing.failing_since
        record = {
            "status": "ready",
            "store": "writable",
            "signing": "working" if failing_since is None else "failing",
            "signing_failing_since": None if failing_since is None else failing_since.isoformat(),
            "active_edition": active.edition.id,
            "editions": sorted(rules.editions),
        }
        return Response(orjson.dumps(record), media_type=JSON)

    app.add_api_route(
        "/health/live",
        live,
        methods=["GET"],
        operation_id="checkLive",
        tags=["health"],
        summary="Whether the service runs",
        response_class=Response,
        responses={**answer(200, "It runs.", "Live"), **problems()},
    )
    app.add_api_route(
        "/health/ready",
        ready,
        methods=["GET"],
        operation_id="checkReady",
        tags=["health"],
        summary="Whether the service can make and store decisions",
        description="The log proves itself and takes entries, and an edition is in force. A log that cannot "
        "be signed any more is told at once, and is not ready after LIMBTIER_SIGNING_GRACE_SECONDS.",
        response_class=Response,
        responses={**answer(200, "It can.", "Ready"), **problems("not-ready")},
    )
