"""Drafts of editions and their way to a release over HTTP."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Any, Final

import orjson
from fastapi import FastAPI, Request, Response

from limbtier.api.bearer import Access, security
from limbtier.api.errors import InvalidQuery
from limbtier.api.operations import JSON, NEEDS_TOKEN, answer, path_parameter, problems, reference
from limbtier.api.preconditions import (
    ETAG_SCHEMA,
    IF_MATCH,
    creating_or_changing,
    if_match,
    parameter,
)
from limbtier.api.request_parts import read_json_body, read_query
from limbtier.domain.caller import APPROVE, AUDIT, EDIT
from limbtier.domain.draft import Draft
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.strict_json import read_json
from limbtier.use_cases.assessment_request import EDITION_PATTERN
from limbtier.use_cases.release_edition import Releases
from limbtier.use_cases.release_errors import refusal
from limbtier.use_cases.release_files import Files, read_copy, read_members, read_reason
from limbtier.use_cases.release_records import draft_record, draft_summary

MOST_DRAFT_BODY_BYTES: Final = 4 * 1024 * 1024
"""Two megabytes of text, and what JSON adds to it."""
MOST_STEP_BODY_BYTES: Final = 8192
_READERS: Final = (EDIT, APPROVE, AUDIT)
_JUDGES: Final = (EDIT, APPROVE)
_ONE: Final = "/v1/drafts/{edition}"


def _beside(work: Callable[[], Draft]) -> asyncio.Future[Draft]:
    """Does work in a thread that does not keep the process from ending: it may take minutes, and what it has
    not finished is as if it had not begun."""
    loop = asyncio.get_running_loop()
    future: asyncio.Future[Draft] = loop.create_future()

    def tell(say: Callable[[Any], None], what: object) -> None:
        with suppress(RuntimeError):  # the service has ended
            loop.call_soon_threadsafe(lambda: None if future.done() else say(what))

    def run() -> None:
        try:
            draft = work()
        except BaseException as error:  # noqa: BLE001 - whoever waits gets it
            tell(future.set_exception, error)
        else:
            tell(future.set_result, draft)

    threading.Thread(target=run, name="limbtier-judge", daemon=True).start()
    return future


def add_release_resources(app: FastAPI, releases: Releases, access: Access) -> None:
    """Every step waits for the disk, so it runs in a thread; checks and proofs compute for seconds, so they
    have one of their own, and take turns."""

    at_work: list[str] = []

    async def judged(work: Callable[..., Draft], *arguments: Any) -> Draft:
        if at_work:
            message = "This worker is checking or proving another draft."
            raise refusal("judging-in-progress", message, "Try again in a minute.")
        at_work.append("judging")
        future = _beside(partial(work, *arguments))
        future.add_done_callback(lambda _done: at_work.clear())
        return await asyncio.shield(future)  # it goes on, and its outcome is kept, when nobody waits any more

    async def members(request: Request, *known: str) -> Any:
        """The members of a body that may be left out."""
        if request.headers.get("content-length", "0") == "0" and "transfer-encoding" not in request.headers:
            return {}
        body = await read_json_body(request, MOST_STEP_BODY_BYTES)
        return read_members(read_json(body), known)

    async def list_drafts(request: Request) -> Response:
        caller = await access.caller(request, *_READERS)
        read_query(request)
        found = await asyncio.to_thread(releases.all, caller)
        return _json({"drafts": [draft_summary(one) for one in found]})

    async def copy(request: Request) -> Response:
        caller = await access.caller(request, EDIT)
        read_query(request)
        wanted = read_copy(read_json(await read_json_body(request, MOST_STEP_BODY_BYTES)))
        return _draft(await asyncio.to_thread(releases.copy, caller, *wanted), status=201)

    async def save(request: Request) -> Response:
        caller = await access.caller(request, EDIT)
        read_query(request)
        etag = creating_or_changing(request)
        body = await read_json_body(request, MOST_DRAFT_BODY_BYTES)

        def work() -> Draft:
            sent = read_members(read_json(body), ("files", "reason"))
            reason = read_reason(sent.get("reason"))
            return releases.save(caller, _named(request), sent.get("files"), etag, reason)

        return _draft(await asyncio.to_thread(work), status=201 if etag is None else 200)

    async def read(request: Request) -> Response:
        caller = await access.caller(request, *_READERS)
        wanted = read_query(request, ("files",)).get("files", "false")
        if wanted not in ("true", "false"):
            advice = "Write `files=true`, or leave it out."
            raise InvalidQuery([Diagnostic("bad-parameter", "`files` is neither true nor false.", advice)])
        draft, files = await asyncio.to_thread(releases.find, caller, _named(request))
        return _draft(draft, files if wanted == "true" else None)

    async def discard(request: Request) -> Response:
        caller = await access.caller(request, EDIT)
        read_query(request)
        etag = if_match(request)
        reason = read_reason((await members(request, "reason")).get("reason"))
        return _json(
            draft_summary(await asyncio.to_thread(releases.discard, caller, _named(request), etag, reason))
        )

    async def check(request: Request) -> Response:
        caller = await access.caller(request, *_JUDGES)
        read_query(request)
        return _draft(await judged(releases.check, caller, _named(request)))

    async def prove(request: Request) -> Response:
        caller = await access.caller(request, *_JUDGES)
        read_query(request)
        return _draft(await judged(releases.prove, caller, _named(request)))

    async def approve(request: Request) -> Response:
        caller = await access.caller(request, APPROVE)
        read_query(request)
        etag = if_match(request)
        reason = read_reason((await members(request, "reason")).get("reason"))
        return _draft(await asyncio.to_thread(releases.approve, caller, _named(request), etag, reason))

    async def release(request: Request) -> Response:
        caller = await access.caller(request, APPROVE)
        read_query(request)
        etag = if_match(request)
        reason = read_reason((await members(request, "reason")).get("reason"))
        return _draft(await asyncio.to_thread(releases.release, caller, _named(request), etag, reason))

    async def retire(request: Request) -> Response:
        caller = await access.caller(request, APPROVE)
        read_query(request)
        reason = read_reason((await members(request, "reason")).get("reason"), required=True)
        await asyncio.to_thread(releases.retire, caller, _named(request), reason)
        return _json({"edition": _named(request), "status": "retired"})

    def add(
        method: str,
        path: str,
        work: Callable[[Request], Any],
        operation_id: str,
        summary: str,
        scopes: tuple[str, ...],
        answers: dict[int | str, dict[str, Any]],
        codes: tuple[str, ...] = (),
        description: str | None = None,
        parameters: tuple[dict[str, Any], ...] = (),
        body: str | None = None,
        body_required: bool = False,
    ) -> None:
        more: dict[str, Any] = {}
        if "{edition}" in path:
            parameters = (_WHICH, *parameters)
            codes = ("not-found", *codes)
        if parameters:
            more["parameters"] = list(parameters)
        if body is not None:
            codes = ("not-json", "body-too-large", "unsupported-media-type", "invalid-draft", *codes)
            more["requestBody"] = {
                "required": body_required,
                "content": {JSON: {"schema": reference(body)}},
            }
        app.add_api_route(
            path,
            work,
            methods=[method],
            status_code=min(int(status) for status in answers),
            operation_id=operation_id,
            tags=["editions"],
            summary=summary,
            description=description,
            response_class=Response,
            responses={**answers, **problems(*codes, "invalid-query", "store-unavailable", *NEEDS_TOKEN)},
            openapi_extra={**security(*scopes), **more},
        )

    seen = ("precondition-required", "precondition-failed", "step-refused")
    found = answer(200, "The draft as it is now.", "DraftDetail")
    made = answer(201, "The draft, made.", "DraftDetail")
    for answers in (found, made):
        for one in answers.values():
            one["headers"] = {
                "ETag": {"description": "Names its files.", "required": True, "schema": ETAG_SCHEMA}
            }
    add(
        "GET",
        "/v1/drafts",
        list_drafts,
        "listDrafts",
        "List the drafts of your organisation",
        _READERS,
        answer(200, "The drafts.", "DraftList"),
    )
    add(
        "POST",
        "/v1/drafts",
        copy,
        "copyEdition",
        "Make a draft from an edition or another draft",
        (EDIT,),
        made,
        ("not-found", "precondition-failed", "step-refused"),
        "With the same content under another version: to go on from it, or to go back to it. Who saved a "
        "draft counts as having saved its copy.",
        body="CopyEdition",
        body_required=True,
    )
    add(
        "PUT",
        _ONE,
        save,
        "saveDraft",
        "Save a draft: all its files",
        (EDIT,),
        {**found, **made},
        seen,
        "At most 64 files, two megabytes together. `If-None-Match: *` makes a new draft, `If-Match` with its "
        "ETag changes one. Whatever was checked, proved and approved before is void. A folder is sent as one "
        "document; `limbtier draft put FOLDER` does it.",
        (
            parameter("If-Match", "The ETag of the draft that is changed.", ETAG_SCHEMA, required=False),
            parameter(
                "If-None-Match", "`*` for a new draft.", {"type": "string", "enum": ["*"]}, required=False
            ),
        ),
        "SaveDraft",
        True,
    )
    add(
        "GET",
        _ONE,
        read,
        "readDraft",
        "Read a draft: how far it is, who saved it, what its check and proofs came to",
        _READERS,
        found,
        parameters=(
            {
                "name": "files",
                "in": "query",
                "required": False,
                "description": "Whether its files are answered, too.",
                "schema": {"type": "boolean", "default": False},
            },
        ),
    )
    add(
        "DELETE",
        _ONE,
        discard,
        "discardDraft",
        "Discard a draft",
        (EDIT,),
        answer(200, "The draft that was discarded.", "DraftSummary"),
        seen,
        "Its files are gone. Who saved it is remembered.",
        (IF_MATCH,),
        "StepReason",
    )
    add(
        "POST",
        f"{_ONE}/check",
        check,
        "checkDraft",
        "Check a draft: loading, worked cases, every check",
        _JUDGES,
        found,
        ("step-refused", "precondition-failed"),
        "It takes seconds. Without an error the draft is checked; what was proved and approved is void.",
    )
    add(
        "POST",
        f"{_ONE}/prove",
        prove,
        "proveDraft",
        "Prove a draft for every assessment",
        _JUDGES,
        found,
        ("step-refused", "precondition-failed"),
        "Of a draft that is checked. It takes seconds to minutes; the outcome is kept also when nobody waits "
        "for the answer.",
    )
    add(
        "POST",
        f"{_ONE}/approve",
        approve,
        "approveDraft",
        "Approve a draft that somebody else saved",
        (APPROVE,),
        found,
        seen,
        "Of a draft that is checked and proved, by somebody who never saved it.",
        (IF_MATCH,),
        "StepReason",
    )
    add(
        "POST",
        f"{_ONE}/release",
        release,
        "releaseDraft",
        "Release a draft that is approved",
        (APPROVE,),
        found,
        seen,
        "From its `effective_from` on, today or later, it decides. Every worker takes it up in 2 seconds.",
        (IF_MATCH,),
        "StepReason",
    )
    add(
        "POST",
        "/v1/editions/{edition}/retire",
        retire,
        "retireEdition",
        "Retire a released edition",
        (APPROVE,),
        answer(200, "It is retired.", "RetiredEdition"),
        ("step-refused",),
        "It decides nothing new; what it decided can still be made again.",
        body="RetireReason",
        body_required=True,
    )


_WHICH: Final = path_parameter(
    "edition", "The id of the edition: set and version.", {"pattern": EDITION_PATTERN, "maxLength": 64}
)


def _named(request: Request) -> str:
    return str(request.path_params["edition"])


def _draft(draft: Draft, files: Files | None = None, status: int = 200) -> Response:
    headers = {"ETag": draft.etag}
    if status == 201:
        headers["Location"] = f"/v1/drafts/{draft.edition}"
    return Response(orjson.dumps(draft_record(draft, files)), status, headers, JSON)


def _json(record: dict[str, Any]) -> Response:
    return Response(orjson.dumps(record), media_type=JSON)
