"""What an auditor reads: decisions found, shown, explained and made again, and the proofs of the log."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final

import orjson
from fastapi import FastAPI, Request, Response

from limbtier.api.bearer import Access, security
from limbtier.api.decision_pages import (
    CURSOR_PATTERN,
    MOST_ON_A_PAGE,
    NAME_PATTERN,
    PARAMETERS,
    USUAL_ON_A_PAGE,
    find,
    read_page,
)
from limbtier.api.errors import InvalidQuery
from limbtier.api.operations import JSON, NEEDS_TOKEN, answer, path_parameter, problems
from limbtier.api.request_parts import read_query
from limbtier.api.schema_types import DECISION_ID_PATTERN
from limbtier.audit.log import Log
from limbtier.audit.provenance import provenance
from limbtier.domain.caller import AUDIT, READ, Caller
from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.episode import PATTERN as EPISODE_PATTERN
from limbtier.foundation.clock import Clock, new_id
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import NotFound
from limbtier.use_cases.assessment_request import EDITION_PATTERN, MOMENT_PATTERN
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.decision_text import decision_text
from limbtier.use_cases.explain_decision import explain
from limbtier.use_cases.replay_decision import replay, replay_entry, replay_record

_ID: Final = re.compile(DECISION_ID_PATTERN.removesuffix("$") + r"\Z")
_SIZE: Final = re.compile(r"[0-9]{1,15}")
TEXT: Final = "text/plain; charset=utf-8"


def add_log_resources(app: FastAPI, decider: Decider, log: Log, access: Access, clock: Clock) -> None:
    """Reading waits for the disk and explaining computes for a while, so both run in threads."""

    # Deciding again some hundred times may take a second: it must not hold up what only reads.
    explaining = ThreadPoolExecutor(max_workers=1, thread_name_prefix="limbtier-explain")

    async def stored(request: Request, caller: Caller) -> bytes:
        """The decision of the path, if it is the caller's organisation's: another's is not there for it."""
        decision_id = str(request.path_params["decision_id"])
        record = None
        if _ID.match(decision_id):
            record = await asyncio.to_thread(log.decision, decision_id, caller.organisation)
        if record is None:
            advice = "Use the id that the decision was given with; previews are not stored."
            raise NotFound([Diagnostic("unknown-decision", "No decision has this id.", advice)])
        return record

    async def list_decisions(request: Request) -> Response:
        caller = await access.caller(request, READ)
        page = read_page(read_query(request, PARAMETERS), caller)
        return _json(await asyncio.to_thread(find, log, page))

    async def read_decision(request: Request) -> Response:
        caller = await access.caller(request, READ)
        read_query(request)
        return Response(await stored(request, caller), media_type=JSON)

    async def read_text(request: Request) -> Response:
        caller = await access.caller(request, READ)
        read_query(request)
        return Response(decision_text(orjson.loads(await stored(request, caller))), media_type=TEXT)

    async def read_provenance(request: Request) -> Response:
        caller = await access.caller(request, READ)
        read_query(request)
        return _json(provenance(orjson.loads(await stored(request, caller))))

    async def read_explanation(request: Request) -> Response:
        caller = await access.caller(request, READ)
        read_query(request)
        record = await stored(request, caller)
        loop = asyncio.get_running_loop()
        return _json(await loop.run_in_executor(explaining, explain, record, decider.rules))

    async def read_proof(request: Request) -> Response:
        caller = await access.caller(request, READ)
        read_query(request)
        await stored(request, caller)
        return Response(
            await asyncio.to_thread(log.proof_of, request.path_params["decision_id"]), media_type=TEXT
        )

    async def make_replay(request: Request) -> Response:
        caller = await access.caller(request, AUDIT)
        read_query(request)
        outcome = await asyncio.to_thread(replay, await stored(request, caller), decider.rules)
        entry = replay_entry(outcome, caller, clock(), new_id())
        await log.append_soon(entry)
        return Response(orjson.dumps({**replay_record(outcome), "entry": entry.id}), 201, media_type=JSON)

    async def read_checkpoint(request: Request) -> Response:
        await access.caller(request, AUDIT)
        read_query(request)
        return Response(await asyncio.to_thread(log.checkpoint), media_type=TEXT)

    async def read_keys(request: Request) -> Response:
        await access.caller(request, AUDIT)
        read_query(request)
        keys = await asyncio.to_thread(lambda: log.verifier_keys)
        return Response("".join(f"{key}\n" for key in keys), media_type=TEXT)

    async def prove_inclusion(request: Request) -> Response:
        await access.caller(request, AUDIT)
        position, size = _sizes(read_query(request, ("position", "size")), "position", "size")
        if not position < size <= log.size:
            raise _no_proof(f"0 <= position < size <= {log.size}")
        proof = await asyncio.to_thread(log.inclusion, position, size)
        return _json(
            {
                "position": position,
                "size": size,
                "leaf_hash": proof.leaf.hex(),
                "root": proof.root.hex(),
                "hashes": [one.hex() for one in proof.hashes],
            }
        )

    async def prove_consistency(request: Request) -> Response:
        await access.caller(request, AUDIT)
        old, size = _sizes(read_query(request, ("old_size", "size")), "old_size", "size")
        if not 0 < old <= size <= log.size:
            raise _no_proof(f"0 < old_size <= size <= {log.size}")
        proof = await asyncio.to_thread(log.consistency, old, size)
        return _json(
            {
                "old_size": old,
                "size": size,
                "old_root": proof.old_root.hex(),
                "root": proof.root.hex(),
                "hashes": [one.hex() for one in proof.hashes],
            }
        )

    def add(
        path: str,
        work: Callable[[Request], Any],
        operation_id: str,
        summary: str,
        scope: str,
        answers: dict[int | str, dict[str, Any]],
        codes: tuple[str, ...] = (),
        parameters: tuple[dict[str, Any], ...] = (),
        description: str | None = None,
        method: str = "GET",
    ) -> None:
        always = ("invalid-query", "store-unavailable", *NEEDS_TOKEN)
        app.add_api_route(
            path,
            work,
            methods=[method],
            status_code=min(int(status) for status in answers),
            operation_id=operation_id,
            tags=["log" if path.startswith("/v1/log") else "decisions"],
            summary=summary,
            description=description,
            response_class=Response,
            responses={**answers, **problems(*codes, *always)},
            openapi_extra={**security(scope), **({"parameters": list(parameters)} if parameters else {})},
        )

    which = path_parameter(
        "decision_id",
        "The id that the decision was given with.",
        {"pattern": DECISION_ID_PATTERN, "maxLength": 36},
    )
    one = "/v1/decisions/{decision_id}"
    add(
        "/v1/decisions",
        list_decisions,
        "listDecisions",
        "Find decisions",
        READ,
        answer(200, "A page of decisions, newest first.", "DecisionPage"),
        parameters=_FILTERS,
        description="Of the caller's own organisation only. Decisions made meanwhile do not shift a page.",
    )
    add(
        one,
        read_decision,
        "readDecision",
        "Read a decision",
        READ,
        answer(200, "The decision.", "StoredDecision"),
        ("not-found",),
        (which,),
        "The decision byte for byte as it was given: the entry of the log.",
    )
    add(
        f"{one}/text",
        read_text,
        "readDecisionText",
        "Read a decision as plain text",
        READ,
        answer(200, "The decision, for a person.", None, "text/plain"),
        ("not-found",),
        (which,),
    )
    add(
        f"{one}/provenance",
        read_provenance,
        "readDecisionProvenance",
        "Read where a decision comes from, as PROV-JSON",
        READ,
        answer(200, "W3C PROV-JSON.", "AnyObject"),
        ("not-found",),
        (which,),
    )
    add(
        f"{one}/explanation",
        read_explanation,
        "explainDecision",
        "Why not higher, why not lower, and what would have changed a decision",
        READ,
        answer(200, "An explanation; no decision.", "Explanation"),
        ("not-found", "edition-unavailable", "engines-disagree", "guard-rail-broken"),
        (which,),
        "Found by deciding again with one answer or one rule changed at a time. It takes a second or so.",
    )
    add(
        f"{one}/proof",
        read_proof,
        "proveDecision",
        "The proof that a decision stands in the log",
        READ,
        answer(200, "A proof with its signed checkpoint (C2SP tlog-proof).", None, "text/plain"),
        ("not-found",),
        (which,),
    )
    add(
        f"{one}/replays",
        make_replay,
        "replayDecision",
        "Make a decision again and compare every field",
        AUDIT,
        answer(201, "What came out; also an entry of the log.", "Replay"),
        ("not-found", "edition-unavailable"),
        (which,),
        "By the edition that made it, retired or not.",
        "POST",
    )
    add(
        "/v1/log/checkpoint",
        read_checkpoint,
        "readCheckpoint",
        "The signed checkpoint of the log as it is now",
        AUDIT,
        answer(200, "A signed note (C2SP tlog-checkpoint).", None, "text/plain"),
        description="Keep it elsewhere: with it, anything altered or removed later can be shown.",
    )
    add(
        "/v1/log/keys",
        read_keys,
        "readLogKeys",
        "The keys that checkpoints are signed with",
        AUDIT,
        answer(200, "Verifier keys (C2SP signed-note), a line each, the oldest first.", None, "text/plain"),
    )
    add(
        "/v1/log/proofs/inclusion",
        prove_inclusion,
        "proveInclusion",
        "The proof that an entry stands in the log",
        AUDIT,
        answer(200, "The proof.", "InclusionProof"),
        parameters=(
            _whole_number("position", "The place of the entry, from 0.", required=True),
            _whole_number("size", "The size of the log it is proven for.", required=True),
        ),
    )
    add(
        "/v1/log/proofs/consistency",
        prove_consistency,
        "proveConsistency",
        "The proof that the log of one size continues the log of another",
        AUDIT,
        answer(200, "The proof.", "ConsistencyProof"),
        parameters=(
            _whole_number("old_size", "The earlier size.", required=True),
            _whole_number("size", "The later size.", required=True),
        ),
    )


def _query(name: str, description: str, schema: dict[str, Any], *, required: bool = False) -> dict[str, Any]:
    return {
        "name": name,
        "in": "query",
        "required": required,
        "description": description,
        "schema": schema,
    }


def _whole_number(name: str, description: str, *, required: bool) -> dict[str, Any]:
    bounds = {"type": "integer", "minimum": 0, "maximum": 10**15 - 1}
    return _query(name, description, bounds, required=required)


_MOMENT_SCHEMA: Final = {
    "type": "string",
    "maxLength": 40,
    "anyOf": [{"pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"}, {"pattern": MOMENT_PATTERN}],
}
_NAME_SCHEMA: Final = {"type": "string", "pattern": NAME_PATTERN, "maxLength": 80}
_FILTERS: Final = (
    _query("episode", "Of this episode.", {"type": "string", "pattern": EPISODE_PATTERN, "maxLength": 64}),
    _query("edition", "By this edition.", {"type": "string", "pattern": EDITION_PATTERN, "maxLength": 64}),
    _query("tier", "A leg was given this tier.", _NAME_SCHEMA),
    _query("disposition", "A leg came out so.", {"type": "string", "enum": list(DISPOSITIONS)}),
    _query("rule", "This rule counted for a leg.", _NAME_SCHEMA),
    _query("decided_from", "Decided on this day or at this moment, or later.", _MOMENT_SCHEMA),
    _query("decided_before", "Decided before this day or moment.", _MOMENT_SCHEMA),
    _query(
        "limit",
        "How many at most.",
        {"type": "integer", "minimum": 1, "maximum": MOST_ON_A_PAGE, "default": USUAL_ON_A_PAGE},
    ),
    _query(
        "cursor", "`next` of the page before.", {"type": "string", "pattern": CURSOR_PATTERN, "maxLength": 40}
    ),
)


def _sizes(query: dict[str, str], *names: str) -> tuple[int, ...]:
    """Whole numbers of the query, all needed. Raises InvalidQuery."""
    advice = "Give a whole number."
    found = [
        Diagnostic("bad-parameter", f"The query parameter `{name}` is missing or no whole number.", advice)
        for name in names
        if not _SIZE.fullmatch(query.get(name, ""))
    ]
    if found:
        raise InvalidQuery(found)
    return tuple(int(query[name]) for name in names)


def _no_proof(wanted: str) -> InvalidQuery:
    message = "There is no proof for these numbers."
    return InvalidQuery([Diagnostic("no-such-proof", message, f"Give numbers with {wanted}.")])


def _json(record: dict[str, Any]) -> Response:
    return Response(orjson.dumps(record), media_type=JSON)
