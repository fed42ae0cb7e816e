"""What the governance team reads of an edition: checks, proofs, comparison, rendering, hazards and impact.

Work that takes longer than an answer may is done beside the service. Until it is done the answer is 202, with
how far it is; the same address then answers with the outcome, from any worker.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any, Final, TypeVar

import orjson
from fastapi import FastAPI, Request, Response

from limbtier.api.accept import MEDIA, form_parameter, wanted_form
from limbtier.api.bearer import Access, security
from limbtier.api.edition_resources import EDITION_SHAPE, edition_named
from limbtier.api.errors import InvalidQuery, WorkFailed
from limbtier.api.operations import JSON, NEEDS_TOKEN, answer, path_parameter, problems
from limbtier.api.request_parts import read_query
from limbtier.audit.log import Log
from limbtier.domain.assessment import day_of
from limbtier.domain.caller import AUDIT, EDIT, READ
from limbtier.domain.governance_result import GovernanceResult
from limbtier.foundation.clock import Clock
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError, NotFound, UnsupportedConstruct
from limbtier.governance.document import HTML_POLICY
from limbtier.use_cases.compare_editions import compare, show
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.edition_documents import EditionInFull
from limbtier.use_cases.governance_tasks import (
    BehaviourTask,
    CheckTask,
    GovernanceTask,
    HazardTask,
    ImpactTask,
    ProofTask,
)
from limbtier.use_cases.governance_work import GovernanceWork, refusal_of

Result = TypeVar("Result")
RETRY_AFTER: Final = "2"
_IMPACT_ID: Final = "^[0-9a-f]{64}$"
_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_DOCUMENT: Final = ("html", "markdown")
_COMPARISON: Final = ("json", "html", "markdown")
_HAZARDS: Final = ("json", "html", "markdown")
_IMPACT: Final = ("json", "csv", "svg")
# What may be loaded by something opened in a browser: no script, and nothing from elsewhere.
_POLICIES: Final = {"html": HTML_POLICY, "svg": "default-src 'none'; style-src 'unsafe-inline'"}


@dataclass(frozen=True, slots=True)
class GovernanceFiles:
    """Where work on editions finds what it reads: `rules` has the files that belong to no edition, `tests` is
    what controls of hazards point at, and may be absent, `database` is the address of the log."""

    rules: Path
    tests: Path
    database: str


def add_governance_resources(
    app: FastAPI,
    decider: Decider,
    log: Log,
    access: Access,
    clock: Clock,
    work: GovernanceWork,
    files: GovernanceFiles,
) -> None:
    """What is asked of the log is about the caller's own organisation."""

    # Writing a whole edition out takes some tenths of a second: one at a time, beside the event loop.
    describing = ThreadPoolExecutor(max_workers=1, thread_name_prefix="limbtier-describe")

    async def describe(make: Callable[..., Result], *arguments: Any) -> Result:
        return await asyncio.get_running_loop().run_in_executor(describing, partial(make, *arguments))

    async def ask(task: GovernanceTask, rules: ReadyRules) -> GovernanceResult:
        return await asyncio.get_running_loop().run_in_executor(None, work.ask, task, rules)

    def named(request: Request, rules: ReadyRules) -> str:
        return edition_named(rules, request.path_params["edition"]).edition.id

    async def read_checks(request: Request) -> Response:
        await access.caller(request, READ)
        read_query(request)
        rules = decider.rules
        return _answer(
            await ask(CheckTask(named(request, rules), files.rules, day_of(clock())), rules), "json"
        )

    async def read_proofs(request: Request) -> Response:
        await access.caller(request, READ)
        read_query(request)
        rules = decider.rules
        return _answer(await ask(ProofTask(named(request, rules)), rules), "json")

    async def read_comparison(request: Request) -> Response:
        await access.caller(request, READ)
        query = read_query(request, ("with", "behaviour", "form"))
        rules = decider.rules
        after = named(request, rules)
        before, behaviour = _compared_with(query)
        form = wanted_form(request, query, _COMPARISON)
        edition_named(rules, before)
        if behaviour:
            return _answer(await ask(BehaviourTask(before, after), rules), form)
        compared = await describe(lambda: show(compare(rules, before, after), form))
        return _written(compared, form)

    async def read_rendering(request: Request) -> Response:
        await access.caller(request, READ)
        query = read_query(request, ("form",))
        edition = EditionInFull.of(decider.rules, named(request, decider.rules))
        form = wanted_form(request, query, _DOCUMENT)
        return _written(await describe(edition.html if form == "html" else edition.markdown), form)

    async def read_hazards(request: Request) -> Response:
        await access.caller(request, READ)
        query = read_query(request, ("form",))
        rules = decider.rules
        edition = named(request, rules)
        form = wanted_form(request, query, _HAZARDS)
        return _answer(await ask(HazardTask(edition, files.rules, files.tests), rules), form)

    async def measure(request: Request) -> Response:
        caller = await access.caller(request, AUDIT, EDIT)
        query = read_query(request, ("from", "before", "against"))
        rules = decider.rules
        edition = named(request, rules)
        first, before = _period(query)
        against = query.get("against")
        if against is not None:
            edition_named(rules, against)
        task = ImpactTask(edition, caller.organisation, against, first, before, files.database, log.size)
        result = await ask(task, rules)
        location = {"Location": f"/v1/editions/{edition}/impacts/{result.key}"}
        return _progress(result, location)

    async def read_impact(request: Request) -> Response:
        caller = await access.caller(request, AUDIT, EDIT)
        query = read_query(request, ("form",))
        named(request, decider.rules)
        form = wanted_form(request, query, _IMPACT)
        key = str(request.path_params["impact"])
        result = None
        if re.fullmatch(_IMPACT_ID.strip("^$"), key):
            result = await asyncio.get_running_loop().run_in_executor(None, work.find, key)
        if result is None or result.kind != "impact" or result.organisation != caller.organisation:
            advice = "Measure it again: results go after 30 days."
            raise NotFound([Diagnostic("unknown-impact", "No impact was measured under this id.", advice)])
        return _answer(result, form)

    def add(
        path: str,
        resource: Callable[[Request], Any],
        operation_id: str,
        summary: str,
        answers: dict[int | str, dict[str, Any]],
        scopes: tuple[str, ...] = (READ,),
        codes: tuple[str, ...] = (),
        parameters: tuple[dict[str, Any], ...] = (),
        description: str | None = None,
        method: str = "GET",
    ) -> None:
        app.add_api_route(
            f"/v1/editions/{{edition}}/{path}",
            resource,
            methods=[method],
            status_code=min(int(status) for status in answers),
            operation_id=operation_id,
            tags=["governance"],
            summary=summary,
            description=description,
            response_class=Response,
            responses={**answers, **problems("not-found", "invalid-query", *codes, *NEEDS_TOKEN)},
            openapi_extra={**security(*scopes), "parameters": [_EDITION, *parameters]},
        )

    long = ("too-much-work", "work-failed", "store-unavailable")
    add(
        "checks",
        read_checks,
        "readChecks",
        "Run the worked cases and every check on an edition",
        {**answer(200, "What was found.", "CheckResult"), **_waiting()},
        codes=(*long, "unsupported-by-prover"),
        description=f"As on today. {_LONG}",
    )
    add(
        "proofs",
        read_proofs,
        "readProofs",
        "Prove an edition for every assessment",
        {**answer(200, "A verdict on every statement.", "ProofList"), **_waiting()},
        codes=(*long, "unsupported-by-prover"),
        description=_LONG,
    )
    add(
        "comparison",
        read_comparison,
        "compareEditions",
        "Compare an edition with another, part by part",
        {**_forms("What differs.", "Comparison", *_COMPARISON), **_waiting()},
        codes=(*long, "unsupported-by-prover", "not-acceptable"),
        parameters=(
            _query("with", "The edition before.", _NAMED, required=True),
            _BEHAVIOUR,
            form_parameter(_COMPARISON),
        ),
        description=f"With `behaviour`: {_LONG}",
    )
    add(
        "rendering",
        read_rendering,
        "renderEdition",
        "Read the whole of an edition, to read and sign",
        _forms("The edition.", None, *_DOCUMENT),
        codes=("not-acceptable",),
        parameters=(form_parameter(_DOCUMENT),),
    )
    add(
        "hazards",
        read_hazards,
        "readHazards",
        "Read the hazard log beside an edition",
        {**_forms("The hazard log; it claims no compliance.", "AnyObject", *_HAZARDS), **_waiting()},
        codes=(*long, "not-acceptable"),
        parameters=(form_parameter(_HAZARDS),),
    )
    begun = answer(202, "It is measured, or was; the header says where to look.", "Work")
    begun[202]["headers"] = {
        **_RETRY,
        "Location": {
            "description": "Where the impact can be read.",
            "required": True,
            "schema": {
                "type": "string",
                "pattern": "^/v1/editions/[^/]+/impacts/[0-9a-f]{64}$",
                "maxLength": 180,
            },
        },
    }
    add(
        "impact",
        measure,
        "measureImpact",
        "Measure what an edition would have changed in your past decisions",
        begun,
        scopes=(AUDIT, EDIT),
        codes=long,
        parameters=(
            _query("from", "Decided on this day or later.", _DAY_SHAPE),
            _query("before", "Decided before this day.", _DAY_SHAPE),
            _query("against", "Compare with this edition; with what was decided when left out.", _NAMED),
        ),
        description="Decisions of the caller's own organisation in the log as it is now, decided again and "
        "counted; none of them changes. The same question about an unchanged log has the same answer.",
        method="POST",
    )
    add(
        "impacts/{impact}",
        read_impact,
        "readImpact",
        "Read a measured impact, or how far it is",
        {**_forms("The impact.", "ImpactResult", *_IMPACT), **_waiting()},
        scopes=(AUDIT, EDIT),
        codes=("work-failed", "store-unavailable", "not-acceptable"),
        parameters=(
            path_parameter(
                "impact", "The id, as `Location` gave it.", {"pattern": _IMPACT_ID, "maxLength": 64}
            ),
            form_parameter(_IMPACT),
        ),
    )


_LONG: Final = "The first time it takes seconds, during which the answer is 202; then it is known."
_NAMED: Final = {"type": "string", **EDITION_SHAPE}
_DAY_SHAPE: Final = {"type": "string", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$", "maxLength": 10}
_EDITION: Final = path_parameter("edition", "The id of the edition: set and version.", EDITION_SHAPE)
_RETRY: Final = {
    "Retry-After": {
        "description": "After how many seconds to ask again.",
        "required": True,
        "schema": {"type": "string", "pattern": "^[0-9]{1,4}$", "maxLength": 4},
    }
}


def _query(name: str, description: str, schema: dict[str, Any], *, required: bool = False) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": required, "description": description, "schema": schema}


_BEHAVIOUR: Final = _query(
    "behaviour",
    "Whether to find every assessment that the two decide otherwise.",
    {"type": "string", "enum": ["true", "false"], "default": "false"},
)


def _waiting() -> dict[int | str, dict[str, Any]]:
    waiting = answer(202, "It is being worked out: ask again at this address.", "Work")
    waiting[202]["headers"] = _RETRY
    return waiting


def _forms(description: str, schema: str | None, *forms: str) -> dict[int | str, dict[str, Any]]:
    """An answer in several forms; JSON has the schema."""
    found = answer(200, description, None)
    text = {"schema": {"type": "string", "maxLength": 100_000_000}}
    content = {MEDIA[form].partition(";")[0]: text for form in forms if form != "json"}
    if schema is not None:
        content = {**answer(200, description, schema)[200]["content"], **content}
    found[200]["content"] = content
    return found


def _compared_with(query: Mapping[str, str]) -> tuple[str, bool]:
    """The edition to compare with, and whether the behaviour too. Raises InvalidQuery."""
    found: list[Diagnostic] = []
    if "with" not in query:
        message = "The query parameter `with` is missing."
        found.append(Diagnostic("bad-parameter", message, "Name the edition to compare with."))
    behaviour = query.get("behaviour", "false")
    if behaviour not in ("true", "false"):
        message = "The query parameter `behaviour` cannot be used."
        found.append(Diagnostic("bad-parameter", message, "Write true or false."))
    if found:
        raise InvalidQuery(found)
    return query["with"], behaviour == "true"


def _period(query: Mapping[str, str]) -> tuple[date | None, date | None]:
    """The first day, and the first no longer counted. Raises InvalidQuery."""
    found: list[Diagnostic] = []
    days: dict[str, date | None] = {}
    for name in ("from", "before"):
        text = query.get(name)
        try:
            days[name] = None if text is None else date.fromisoformat(text)
            code = None if text is None or _DAY.fullmatch(text) else "bad-parameter"
        except ValueError:
            code = "impossible-date" if _DAY.fullmatch(text or "") else "bad-parameter"
        if code is not None:
            message = f"The query parameter `{name}` is no day that exists."
            found.append(Diagnostic(code, message, "Write a day such as 2026-03-02."))
    if found:
        raise InvalidQuery(found)
    return days["from"], days["before"]


def _answer(result: GovernanceResult, form: str) -> Response:
    """The outcome in a form, or how far it is. Raises WorkFailed, or what the work was refused for."""
    if result.state == "done" and result.outcome is not None:
        return _written(orjson.loads(result.outcome)[form], form)
    if result.state == "refused":
        raise _refused(result)
    return _progress(result, {})


def _progress(result: GovernanceResult, headers: Mapping[str, str]) -> Response:
    if result.state == "failed":
        message = f"Work of the kind `{result.kind}` failed."
        raise WorkFailed([Diagnostic("work-failed", message, "Ask again in two minutes.")])
    record = {
        "kind": result.kind,
        "state": result.state,
        "counted": result.counted,
        "total": result.total,
        "seen_at": result.seen_at.isoformat(),
    }
    return Response(orjson.dumps(record), 202, {"Retry-After": RETRY_AFTER, **headers}, JSON)


def _refused(result: GovernanceResult) -> LimbtierError:
    code, found = refusal_of(result)
    if code == UnsupportedConstruct.code:
        return UnsupportedConstruct(found)
    return WorkFailed([Diagnostic("work-failed", "; ".join(one.message for one in found), "Ask again.")])


def _written(text: str, form: str) -> Response:
    headers = {"Vary": "Accept"}
    if form in _POLICIES:
        headers["Content-Security-Policy"] = f"{_POLICIES[form]}; frame-ancestors 'none'"
    return Response(text, headers=headers, media_type=MEDIA[form])
