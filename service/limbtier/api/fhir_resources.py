"""FHIR R4 over HTTP: questionnaires out, answered questionnaires in, guidance back.

These paths describe themselves in the words of FHIR, at `/fhir/metadata`, and not in the OpenAPI description.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final
from urllib.parse import urlencode

import orjson
from fastapi import FastAPI, Request, Response

from limbtier.api.bearer import ANY_SCOPE, Access
from limbtier.api.errors import InvalidQuery
from limbtier.api.fhir_outcomes import FHIR_JSON, PREFIX, FhirOutcomes, remember_root
from limbtier.api.idempotency_key import read_idempotency_key
from limbtier.api.request_parts import read_json_body, read_query
from limbtier.domain.caller import DECIDE
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import NotFound
from limbtier.foundation.settings import Settings
from limbtier.foundation.strict_json import read_json
from limbtier.interop.fhir.conformance import capability_statement, operation_definition
from limbtier.interop.fhir.envelope import resource_type
from limbtier.interop.fhir.identifiers import OPERATION
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.evaluate_questionnaire import QuestionnaireEvaluator
from limbtier.use_cases.make_decision import DecisionMaker

# FHIR says the same at four times the length of a plain assessment.
TIMES_LONGER: Final = 4
# An extension of a coding of an observation of a bundle in a parameter lies 16 levels deep, and may go on.
DEEPEST: Final = 32
MEDIA_TYPES: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        FHIR_JSON: frozenset({"charset=utf-8", "fhirversion=4.0"}),
        "application/json": frozenset({"charset=utf-8"}),
    }
)
_FORMAT: Final = "_format"


def add_fhir_resources(
    app: FastAPI, decider: Decider, maker: DecisionMaker, access: Access, settings: Settings
) -> None:
    """Raises InvalidRuleFiles when the code map of the rules folder cannot be used."""
    evaluator = QuestionnaireEvaluator(decider, maker, settings.rules)
    names = evaluator.names
    app.add_middleware(FhirOutcomes, names=names)

    async def metadata(request: Request) -> Response:
        _query(request)
        return _fhir(capability_statement(names))

    async def definition(request: Request, definition_id: str) -> Response:
        await access.caller(request, *ANY_SCOPE)
        _query(request)
        if definition_id != OPERATION:
            raise _not_found("unknown-definition", "operation definition", definition_id, [OPERATION])
        return _fhir(operation_definition(names))

    async def search(request: Request) -> Response:
        await access.caller(request, *ANY_SCOPE)
        query = _query(request, "url", "version")
        found = [
            (resource_id, one)
            for resource_id, one in evaluator.questionnaires().items()
            if all(one[name] == query.get(name, one[name]) for name in ("url", "version"))
        ]
        asked = f"?{urlencode(query)}" if query else ""
        return _fhir(
            {
                "resourceType": "Bundle",
                "type": "searchset",
                "total": len(found),
                "link": [{"relation": "self", "url": f"{names.base}/Questionnaire{asked}"}],
                "entry": [
                    {
                        "fullUrl": f"{names.base}/Questionnaire/{resource_id}",
                        "resource": one,
                        "search": {"mode": "match"},
                    }
                    for resource_id, one in found
                ],
            }
        )

    async def read(request: Request, questionnaire_id: str) -> Response:
        await access.caller(request, *ANY_SCOPE)
        _query(request)
        known = evaluator.questionnaires()
        if questionnaire_id not in known:
            raise _not_found("unknown-questionnaire", "questionnaire", questionnaire_id, list(known))
        return _fhir(known[questionnaire_id])

    async def evaluate(request: Request) -> Response:
        caller = await access.caller(request, DECIDE)
        preview = _flag(_query(request, "preview"), "preview")
        key = None if preview else read_idempotency_key(request, required=settings.require_idempotency_key)
        most_bytes = TIMES_LONGER * settings.most_body_bytes
        body = read_json(await read_json_body(request, most_bytes, MEDIA_TYPES), DEEPEST)
        remember_root(request.scope, resource_type(body))
        if preview:
            return _fhir(await evaluator.preview(body, caller))
        decision_id, bundle = await evaluator.decide(body, caller, key)
        return _fhir(bundle, 201, {"Location": f"/v1/decisions/{decision_id}"})

    for path, endpoint, method in (
        ("/metadata", metadata, "GET"),
        ("/OperationDefinition/{definition_id}", definition, "GET"),
        ("/Questionnaire", search, "GET"),
        ("/Questionnaire/{questionnaire_id}", read, "GET"),
        (f"/QuestionnaireResponse/${OPERATION}", evaluate, "POST"),
    ):
        app.add_api_route(PREFIX + path, endpoint, methods=[method], include_in_schema=False)


def _fhir(
    resource: Mapping[str, Any], status: int = 200, headers: Mapping[str, str] | None = None
) -> Response:
    return Response(orjson.dumps(resource), status, headers, FHIR_JSON)


def _query(request: Request, *known: str) -> dict[str, str]:
    """The query without `_format`, which may ask for nothing but JSON. Raises InvalidQuery."""
    query = read_query(request, (*known, _FORMAT))
    wanted = query.pop(_FORMAT, "json")
    if wanted not in ("json", *MEDIA_TYPES):
        advice = f"Leave `{_FORMAT}` out, or write `{_FORMAT}=json`."
        raise InvalidQuery(
            [Diagnostic("bad-parameter", f"`{_FORMAT}` asks for something else than JSON.", advice)]
        )
    return query


def _flag(query: Mapping[str, str], name: str) -> bool:
    value = query.get(name, "false")
    if value not in ("true", "false"):
        advice = f"Write `{name}=true`, or leave it out."
        raise InvalidQuery([Diagnostic("bad-parameter", f"`{name}` is neither true nor false.", advice)])
    return value == "true"


def _not_found(code: str, what: str, name: str, known: list[str]) -> NotFound:
    shown = name[:60] if name.isprintable() else "?"
    advice = did_you_mean(shown, known, f"Known here: {', '.join(known)}.")
    return NotFound([Diagnostic(code, f"There is no {what} `{shown}`.", advice)])
