"""Whose review is due, and how a caseload goes: for teams, one organisation at a time."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from typing import Any, Final

import orjson
from fastapi import FastAPI, Request, Response

from limbtier.api.accept import MEDIA, form_parameter, wanted_form
from limbtier.api.bearer import Access, security
from limbtier.api.operations import JSON, NEEDS_TOKEN, answer, problems, reference
from limbtier.api.request_parts import read_query
from limbtier.api.review_queries import (
    CURSOR_PATTERN,
    DAY_PATTERN,
    MOST_ON_A_PAGE,
    MOST_WEEKS,
    SCENARIO_TIERS,
    TIERS_ON_LEGS,
    USUAL_ON_A_PAGE,
    VISITS_PATTERN,
    Query,
    cursor,
    due_filter,
)
from limbtier.domain.assessment import day_of
from limbtier.domain.caller import AUDIT, DECIDE, EDIT, READ
from limbtier.domain.caseload import Caseload, CaseloadTerms
from limbtier.domain.due_reviews import STATUSES
from limbtier.domain.episode_state import Keeping
from limbtier.domain.visit_scenario import visit_scenario
from limbtier.foundation.clock import Clock
from limbtier.governance.caseload_plot import caseload_svg
from limbtier.governance.caseload_record import caseload_csv, caseload_record
from limbtier.interop.calendar_feed import MEDIA_TYPE, calendar_feed
from limbtier.store.due_list import DueTable
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.due_reviews import due_page
from limbtier.use_cases.picture_caseload import picture_caseload, scenario_record

FEED_DAYS: Final = (90, 92)
"""How many days back and ahead the calendar feed reaches."""
MOST_IN_FEED: Final = 5000
_FORMS: Final = ("json", "csv", "svg")
_SVG_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'"


@dataclass(frozen=True, slots=True)
class CaseloadParts:
    """What counting needs beside the decisions: the answers that are kept, and what is counted."""

    keeping: Keeping
    terms: CaseloadTerms


def add_review_resources(
    app: FastAPI,
    decider: Decider,
    table: DueTable,
    parts: CaseloadParts,
    access: Access,
    clock: Clock,
    origin: str,
) -> None:
    """`origin` names the log, for the events of the calendar feed."""

    # A caseload takes seconds to count: one at a time, beside the event loop.
    counting = ThreadPoolExecutor(max_workers=1, thread_name_prefix="limbtier-caseload")

    def today() -> date:
        return day_of(clock())

    async def read_due(request: Request) -> Response:
        caller = await access.caller(request, READ, DECIDE)
        query = Query(read_query(request, ("on", "status", "tier", "calendar", "limit", "cursor")))
        wanted = due_filter(query, caller.organisation, today(), tuple(decider.rules.calendars))
        limit = query.number("limit", USUAL_ON_A_PAGE, MOST_ON_A_PAGE)
        after = query.mark("cursor", wanted)
        query.refuse()
        record, place = await asyncio.to_thread(due_page, table, wanted, after, limit)
        record["next"] = None if place is None else cursor(place, wanted)
        return Response(orjson.dumps(record), media_type=JSON)

    async def read_feed(request: Request) -> Response:
        caller = await access.caller(request, READ, DECIDE)
        read_query(request)
        day = today()
        first, last = day - timedelta(days=FEED_DAYS[0]), day + timedelta(days=FEED_DAYS[1])
        found = await asyncio.to_thread(table.reviews, caller.organisation, first, last, MOST_IN_FEED)
        prepared = decider.rules.edition(None, clock())
        caution = "" if prepared is None else prepared.edition.wording.caution
        feed = await asyncio.to_thread(calendar_feed, found, caller.organisation, origin, caution, clock())
        return Response(feed, media_type=MEDIA_TYPE)

    async def counted(query: Query, organisation: str) -> Caseload:
        first, before, as_of = query.day("from"), query.day("before"), query.day("as_of") or today()
        if first is not None and before is not None and before <= first:
            query.out_of_order("before", "Give a day after `from`.")
        if as_of > today():
            query.in_future("as_of")
        query.refuse()
        work = partial(
            picture_caseload, table, organisation, parts.keeping, parts.terms, as_of, first, before
        )
        return await asyncio.get_running_loop().run_in_executor(counting, work)

    async def read_caseload(request: Request) -> Response:
        caller = await access.caller(request, READ, AUDIT, EDIT)
        given = read_query(request, ("from", "before", "as_of", "form"))
        form = wanted_form(request, given, _FORMS)
        found = await counted(Query(given), caller.organisation)
        if form == "csv":
            return Response(caseload_csv(found), media_type=MEDIA[form])
        if form == "svg":
            picture = await asyncio.to_thread(caseload_svg, found, f"Caseload of {caller.organisation}")
            headers = {"Content-Security-Policy": _SVG_POLICY}
            return Response(picture, media_type=MEDIA[form], headers=headers)
        return Response(orjson.dumps(caseload_record(found)), media_type=JSON)

    async def read_scenario(request: Request) -> Response:
        caller = await access.caller(request, READ, AUDIT, EDIT)
        query = Query(read_query(request, ("weeks", *SCENARIO_TIERS)))
        weeks = query.number("weeks", 4, MOST_WEEKS)
        read = {tier: query.visits(tier) for tier in SCENARIO_TIERS}
        found = await counted(query, caller.organisation)
        assumed = {tier: one for tier, one in read.items() if one is not None}
        return Response(orjson.dumps(scenario_record(visit_scenario(found, assumed, weeks))), media_type=JSON)

    common = problems("invalid-query", "store-unavailable", *NEEDS_TOKEN)
    app.add_api_route(
        "/v1/reviews/due",
        read_due,
        methods=["GET"],
        operation_id="listDueReviews",
        tags=["reviews"],
        summary="List the episodes that need somebody",
        description="Reviews that are due or overdue, legs that were left on a starter tier, and full "
        "assessments that are overdue: the most urgent last decision first, then the longest in need.",
        response_class=Response,
        responses={**answer(200, "A page of the list.", "DueList"), **common},
        openapi_extra={
            **security(READ, DECIDE),
            "parameters": [
                _day("on", "As on this day; today when left out."),
                _list("status", "Only these, with commas between them.", STATUSES),
                _list("tier", "Only episodes whose higher leg has one of these.", TIERS_ON_LEGS),
                _list("calendar", "Only these, with commas between them.", tuple(decider.rules.calendars)),
                _whole("limit", USUAL_ON_A_PAGE, MOST_ON_A_PAGE),
                _text("cursor", "`next` of the page before.", CURSOR_PATTERN, 120),
            ],
        },
    )
    app.add_api_route(
        "/v1/reviews/calendar",
        read_feed,
        methods=["GET"],
        operation_id="readReviewCalendar",
        tags=["reviews"],
        summary="Reviews as a calendar feed (RFC 5545)",
        description=f"Of open episodes, from {FEED_DAYS[0]} days back to {FEED_DAYS[1]} ahead, at most "
        f"{MOST_IN_FEED:,}. The feed needs a token like everything else.",
        response_class=Response,
        responses={**answer(200, "The feed.", None, "text/calendar"), **common},
        openapi_extra=security(READ, DECIDE),
    )
    period = [
        _day("from", "Legs first seen on this day or later."),
        _day("before", "Legs first seen before this day."),
        _day("as_of", "As things stood at the end of this day; today when left out."),
    ]
    shapes = {
        "application/json": {"schema": reference("CaseloadPicture")},
        **{MEDIA[form].partition(";")[0]: {"schema": _TEXT} for form in ("csv", "svg")},
    }
    app.add_api_route(
        "/v1/caseload",
        read_caseload,
        methods=["GET"],
        operation_id="readCaseload",
        tags=["reviews"],
        summary="How a caseload goes",
        description="Counted from the contacts and events of the log: legs by tier and week, time to each "
        "tier, full assessments in time, legs still at a starter tier, and change in wound area.",
        response_class=Response,
        responses={
            200: {"description": "The picture.", "content": shapes},
            **problems("invalid-query", "not-acceptable", "store-unavailable", *NEEDS_TOKEN),
        },
        openapi_extra={**security(READ, AUDIT, EDIT), "parameters": [*period, form_parameter(_FORMS)]},
    )
    app.add_api_route(
        "/v1/caseload/scenario",
        read_scenario,
        methods=["GET"],
        operation_id="readVisitScenario",
        tags=["reviews"],
        summary="Work a scenario of visits out",
        description="Legs of the last whole week, times the visits assumed for their tier, times the weeks. "
        "A scenario of its inputs: no forecast, and no claim of savings.",
        response_class=Response,
        responses={**answer(200, "The scenario with its inputs.", "VisitScenarioShown"), **common},
        openapi_extra={
            **security(READ, AUDIT, EDIT),
            "parameters": [
                _whole("weeks", 4, MOST_WEEKS),
                *(
                    _text(tier, f"Visits of a leg at {tier} a week, such as 2-3.", VISITS_PATTERN, 9)
                    for tier in SCENARIO_TIERS
                ),
            ],
        },
    )


_TEXT: Final = {"type": "string", "maxLength": 1_000_000}


def _text(name: str, description: str, pattern: str, longest: int) -> dict[str, Any]:
    schema = {"type": "string", "pattern": pattern, "maxLength": longest}
    return {"name": name, "in": "query", "required": False, "description": description, "schema": schema}


def _day(name: str, description: str) -> dict[str, Any]:
    found = _text(name, description, DAY_PATTERN, 10)
    found["schema"]["format"] = "date"
    return found


def _list(name: str, description: str, words: tuple[str, ...]) -> dict[str, Any]:
    choices = "|".join(words)
    return _text(name, description, f"^({choices})(,({choices}))*$", 400)


def _whole(name: str, usual: int, most: int) -> dict[str, Any]:
    schema = {"type": "integer", "minimum": 1, "maximum": most, "default": usual}
    what = "At most so many" if name == "limit" else "How many"
    words = f"{what}; {usual} when left out."
    return {"name": name, "in": "query", "required": False, "description": words, "schema": schema}
