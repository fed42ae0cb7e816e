"""CDS Hooks 2.0 over HTTP: discovery, calls answered with cards, feedback, and what the feedback comes to."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Mapping
from datetime import datetime
from functools import partial
from typing import Any, Final

import orjson
from fastapi import FastAPI, Request, Response

from limbtier.api.bearer import Access, bearer_token, security, unauthorised
from limbtier.api.cds_hooks_origins import CdsHooksOrigins
from limbtier.api.errors import InvalidQuery
from limbtier.api.operations import JSON, NEEDS_TOKEN, answer, path_parameter, problems, reference
from limbtier.api.request_parts import read_json_body, read_query
from limbtier.audit.log import Log
from limbtier.domain.caller import AUDIT, DECIDE, EDIT, Caller
from limbtier.foundation.clock import Clock, now
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import NotFound
from limbtier.foundation.settings import Settings
from limbtier.interop.bearer_tokens import TokenRefused
from limbtier.interop.cds_hooks.cards import CardSite
from limbtier.interop.cds_hooks.client_tokens import client_tokens
from limbtier.interop.cds_hooks.services import SERVICES, CdsService, discovery
from limbtier.interop.fhir.identifiers import Identifiers
from limbtier.rulesets.read_cards import load_cards
from limbtier.rulesets.read_code_map import load_code_map
from limbtier.store.entries import RetryKeyTaken
from limbtier.use_cases.advise_with_cards import CardAdviser
from limbtier.use_cases.assessment_request import MOMENT_PATTERN
from limbtier.use_cases.authorise import KEY_PREFIX
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.keep_card_feedback import keep_card_feedback
from limbtier.use_cases.make_decision import DecisionMaker
from limbtier.use_cases.summarise_feedback import summarise_feedback

_MOMENT: Final = re.compile(MOMENT_PATTERN.removesuffix("$") + r"\Z")
_PERIOD: Final = ("since", "before")
# FHIR says the same at four times the length of a plain assessment.
TIMES_LONGER: Final = 4


def add_cds_hooks_resources(
    app: FastAPI,
    decider: Decider,
    maker: DecisionMaker,
    log: Log,
    access: Access,
    settings: Settings,
    clock: Clock = now,
) -> None:
    """Where no CDS clients are configured, callers come with the tokens of every other resource. Raises
    InvalidRuleFiles when the words or the code map of the rules folder cannot be used, InvalidSettings when
    the list of clients cannot."""
    vocabularies = [one.edition.vocabulary for one in decider.rules.editions.values()]
    code_map = load_code_map(settings.rules, vocabularies)
    names = Identifiers(code_map.base)
    site = CardSite(load_cards(settings.rules), names, settings.base_url)
    adviser = CardAdviser(decider, maker, site, code_map, clock)
    clients = client_tokens(settings.cds_clients, settings.base_url, clock)
    most_bytes = TIMES_LONGER * settings.most_body_bytes
    if settings.cds_origins:
        app.add_middleware(CdsHooksOrigins, origins=settings.cds_origins)

    async def called_by(request: Request) -> tuple[Caller, str | None]:
        """The caller, and the id of the token that it used up."""
        if clients is None:
            return await access.caller(request, DECIDE), None
        try:
            token = bearer_token(request.scope["headers"])
            if token.startswith(KEY_PREFIX):
                return await access.caller(request, DECIDE), None
            call = clients.call(token, request.scope["path"])
        except TokenRefused as refusal:
            raise unauthorised(request, refusal.reason) from None
        return call.caller, call.token_id

    async def discover(request: Request) -> Response:
        read_query(request)
        questionnaire = names.questionnaire(decider.rules.rule_set)
        return Response(orjson.dumps(discovery(questionnaire, code_map)), media_type=JSON)

    async def call(request: Request) -> Response:
        caller, token_id = await called_by(request)
        read_query(request)
        service = _service(request)
        body = await read_json_body(request, most_bytes)
        try:
            return Response(await adviser.advise(body, service, caller, token_id), media_type=JSON)
        except RetryKeyTaken:  # another worker has taken the token
            raise unauthorised(request, "token-replayed") from None

    async def feedback(request: Request) -> Response:
        caller, _ = await called_by(request)
        read_query(request)
        _service(request)
        body = await read_json_body(request, most_bytes)
        work = partial(keep_card_feedback, body, caller, site, log, clock)
        new, before = await asyncio.get_running_loop().run_in_executor(None, work)
        return Response(orjson.dumps({"kept": new, "kept_before": before}), media_type=JSON)

    async def summary(request: Request) -> Response:
        caller = await access.caller(request, AUDIT, EDIT)
        since, before = _period(read_query(request, _PERIOD))
        work = partial(summarise_feedback, log.store, caller.organisation, site.words, since, before)
        return Response(
            orjson.dumps(await asyncio.get_running_loop().run_in_executor(None, work)), media_type=JSON
        )

    _describe(app, discover, call, feedback)
    app.add_api_route(
        "/v1/feedback/summary",
        summary,
        methods=["GET"],
        operation_id="summariseFeedback",
        tags=["cds-hooks"],
        summary="Read which rules were followed or overridden, how often, and why",
        description="Of the caller's own organisation. A card counts once, with its latest outcome.",
        response_class=Response,
        responses={
            **answer(200, "The summary.", "FeedbackSummary"),
            **problems("invalid-query", "store-unavailable", *NEEDS_TOKEN),
        },
        openapi_extra={
            **security(AUDIT, EDIT),
            "parameters": [
                {
                    "name": name,
                    "in": "query",
                    "required": False,
                    "description": f"Only outcomes {words_} this moment.",
                    "schema": {"type": "string", "pattern": MOMENT_PATTERN, "maxLength": 40},
                }
                for name, words_ in (("since", "from"), ("before", "earlier than"))
            ],
        },
    )


def _describe(app: FastAPI, discover: Any, call: Any, feedback: Any) -> None:
    """Add the three resources of the standard."""
    app.add_api_route(
        "/cds-services",
        discover,
        methods=["GET"],
        operation_id="discoverCdsServices",
        tags=["cds-hooks"],
        summary="Discover the CDS Hooks services",
        description="Open to everybody, as CDS Hooks 2.0 intends.",
        response_class=Response,
        responses={**answer(200, "The services.", "CdsServices"), **problems("invalid-query")},
        openapi_extra={"security": []},
    )
    which = path_parameter(
        "service", "The id of the service, as discovery lists it.", {"enum": list(SERVICES)}
    )
    common = ("not-json", "body-too-large", "unsupported-media-type", "invalid-query", "not-found")
    app.add_api_route(
        "/cds-services/{service}",
        call,
        methods=["POST"],
        operation_id="callCdsService",
        tags=["cds-hooks"],
        summary="Call a CDS Hooks service",
        description="Decides the assessment that was sent along, writes the decision into the log, and shows "
        "it on one card a leg. Nothing is fetched from the client's FHIR server.",
        response_class=Response,
        responses={
            **answer(200, "The cards.", "CdsCards"),
            **problems(
                *common,
                "prefetch-missing",
                "invalid-hook-request",
                "invalid-assessment",
                "engines-disagree",
                "guard-rail-broken",
                "store-unavailable",
                *NEEDS_TOKEN,
            ),
        },
        openapi_extra={**security(DECIDE), "parameters": [which], **_body("CdsCall", "The call.")},
    )
    app.add_api_route(
        "/cds-services/{service}/feedback",
        feedback,
        methods=["POST"],
        operation_id="sendCardFeedback",
        tags=["cds-hooks"],
        summary="Tell what happened to cards",
        description="Kept are card, decision, outcome, moment and the code of the reason. Comments are never "
        "kept: they may hold personal data. The same feedback can be sent again and is kept once.",
        response_class=Response,
        responses={
            **answer(200, "It is kept.", "FeedbackKept"),
            **problems(*common, "invalid-feedback", "store-unavailable", *NEEDS_TOKEN),
        },
        openapi_extra={**security(DECIDE), "parameters": [which], **_body("CdsFeedback", "Feedback.")},
    )


def _body(schema: str, description: str) -> dict[str, Any]:
    content = {JSON: {"schema": reference(schema)}}
    return {"requestBody": {"required": True, "description": description, "content": content}}


def _service(request: Request) -> CdsService:
    name = str(request.path_params["service"])
    found = SERVICES.get(name)
    if found is None:
        advice = did_you_mean(name[:80], SERVICES, "`/cds-services` lists the services.")
        raise NotFound([Diagnostic("unknown-service", "There is no such service.", advice)])
    return found


def _period(query: Mapping[str, str]) -> tuple[datetime | None, datetime | None]:
    """The two ends of a period. Raises InvalidQuery."""
    faults: list[Diagnostic] = []
    ends: list[datetime | None] = []
    for name in _PERIOD:
        text = query.get(name)
        moment = None
        if text is not None and not _MOMENT.match(text):
            advice = "Write date, time and offset, such as 2026-03-02T09:30:00Z."
            faults.append(Diagnostic("bad-parameter", f"`{name}` is no moment.", advice))
        elif text is not None:
            try:
                moment = datetime.fromisoformat(text)
            except ValueError:
                message = f"`{name}` is a moment that does not exist."
                faults.append(Diagnostic("impossible-date", message, "Give one that does."))
        ends.append(moment)
    if faults:
        raise InvalidQuery(faults)
    return ends[0], ends[1]
