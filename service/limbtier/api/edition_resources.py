"""Editions, their rules and their vocabulary over HTTP."""

from __future__ import annotations

from typing import Any, Final

import orjson
from fastapi import FastAPI, Request, Response

from limbtier.api.bearer import ANY_SCOPE, Access, security
from limbtier.api.edition_records import edition_list, edition_record, rules_record, vocabulary_record
from limbtier.api.operations import JSON, NEEDS_TOKEN, answer, path_parameter, problems
from limbtier.api.request_parts import read_query
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.clock import Clock
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import NotFound
from limbtier.use_cases.assessment_request import EDITION_PATTERN
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.edition_documents import EditionInFull

EDITION_SHAPE: Final = {"pattern": EDITION_PATTERN, "maxLength": 64}
"""What the id of an edition looks like, for the description of the API."""


def add_edition_resources(app: FastAPI, decider: Decider, access: Access, clock: Clock) -> None:
    """What answers is read from the decider's rules at each request, so a reload shows at once and whole."""

    async def read_vocabulary(request: Request) -> Response:
        await access.caller(request, *ANY_SCOPE)
        name = read_query(request, ("edition",)).get("edition")
        rules = decider.rules
        if name is not None:
            return _json(vocabulary_record(edition_named(rules, name)))
        active = rules.edition(None, clock())
        if active is None:
            advice = "Name one with `?edition=`; `/v1/editions` lists them."
            raise NotFound([Diagnostic("no-edition-in-force", "No edition is in force today.", advice)])
        return _json(vocabulary_record(active))

    async def list_editions(request: Request) -> Response:
        await access.caller(request, *ANY_SCOPE)
        read_query(request)
        rules = decider.rules
        return _json(edition_list(rules, rules.edition(None, clock())))

    async def read_edition(request: Request) -> Response:
        await access.caller(request, *ANY_SCOPE)
        read_query(request)
        rules = decider.rules
        prepared = edition_named(rules, request.path_params["edition"])
        return _json(edition_record(prepared, EditionInFull.of(rules, prepared.edition.id).bases))

    async def read_rules(request: Request) -> Response:
        await access.caller(request, *ANY_SCOPE)
        read_query(request)
        return _json(rules_record(edition_named(decider.rules, request.path_params["edition"])))

    app.add_api_route(
        "/v1/vocabulary",
        read_vocabulary,
        methods=["GET"],
        operation_id="readVocabulary",
        tags=["rules"],
        summary="Read the questions that may be answered",
        description="Enough to build a form: every input in order, with its choices, ranges and conditions.",
        response_class=Response,
        responses={
            **answer(200, "The vocabulary.", "Vocabulary"),
            **problems("not-found", "invalid-query", *NEEDS_TOKEN),
        },
        openapi_extra={
            **security(*ANY_SCOPE),
            "parameters": [
                {
                    "name": "edition",
                    "in": "query",
                    "required": False,
                    "description": "The edition; the active one when left out.",
                    "schema": {"type": "string", **EDITION_SHAPE},
                }
            ],
        },
    )
    app.add_api_route(
        "/v1/editions",
        list_editions,
        methods=["GET"],
        operation_id="listEditions",
        tags=["rules"],
        summary="List the editions",
        response_class=Response,
        responses={
            **answer(200, "The editions.", "EditionList"),
            **problems("invalid-query", *NEEDS_TOKEN),
        },
        openapi_extra=security(*ANY_SCOPE),
    )
    which: dict[str, Any] = {
        **security(*ANY_SCOPE),
        "parameters": [path_parameter("edition", "The id of the edition: set and version.", EDITION_SHAPE)],
    }
    app.add_api_route(
        "/v1/editions/{edition}",
        read_edition,
        methods=["GET"],
        operation_id="readEdition",
        tags=["rules"],
        summary="Read an edition: tiers, settings and guard rails",
        response_class=Response,
        responses={
            **answer(200, "The edition.", "EditionDetail"),
            **problems("not-found", "invalid-query", *NEEDS_TOKEN),
        },
        openapi_extra=which,
    )
    app.add_api_route(
        "/v1/editions/{edition}/rules",
        read_rules,
        methods=["GET"],
        operation_id="readRules",
        tags=["rules"],
        summary="Read the rules of an edition, with reasons and sources",
        response_class=Response,
        responses={
            **answer(200, "The rules.", "RuleList"),
            **problems("not-found", "invalid-query", *NEEDS_TOKEN),
        },
        openapi_extra=which,
    )


def edition_named(rules: ReadyRules, name: str) -> PreparedEdition:
    """An edition by its id. Raises NotFound, naming the closest."""
    found = rules.editions.get(name)
    if found is None:
        advice = did_you_mean(name[:64], rules.editions, "`/v1/editions` lists the editions.")
        raise NotFound([Diagnostic("unknown-edition", "There is no such edition.", advice)])
    return found


def _json(record: dict[str, Any]) -> Response:
    return Response(orjson.dumps(record), media_type=JSON)
