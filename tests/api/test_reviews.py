"""The due list, its calendar feed, the picture of a caseload and a scenario of visits, over HTTP."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import ics
import orjson
import pytest

from limbtier.use_cases.decide import Decider, ReadyRules
from tests.api.service import Service, bearer, first_contact, problem_of, start

TODAY = datetime(2026, 3, 31, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def caseload(rules: ReadyRules) -> Iterator[Service]:
    """Five episodes on 31 March, four at their first contact and one closed; and one elsewhere."""
    service = start(rules, Decider(rules, clock=lambda: TODAY), clock=lambda: TODAY)
    with service.client:
        for reference, day in (("ep-1", 2), ("ep-2", 20), ("ep-3", 29), ("ep-4", 31), ("ep-5", 3)):
            contact(service, reference, day)
        closing = {"kind": "healed", "happened_on": "2026-03-28"}
        assert service.post("/v1/episodes/ep-5/events", closing).status_code == 201
        elsewhere = bearer(service.keys.make("other", ("decide", "read"), "elsewhere"))
        contact(service, "ep-9", 2, elsewhere)
        yield service


def contact(service: Service, reference: str, day: int, headers: dict[str, str] | None = None) -> None:
    """A first contact on a day of March."""
    request = {**first_contact(), "episode": reference, "assessed_at": f"2026-03-{day:02}T10:00:00+00:00"}
    request["limbs"]["left"]["first_contact_on"] = f"2026-03-{day:02}"
    answer = service.client.post(
        "/v1/decisions",
        content=orjson.dumps(request),
        headers={"Content-Type": "application/json", **(headers or {})},
    )
    assert answer.status_code == 201, answer.text


def due(service: Service, query: str = "") -> dict[str, Any]:
    answer = service.client.get(f"/v1/reviews/due{query}")
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def references(page: dict[str, Any]) -> list[str]:
    return [one["reference"] for one in page["episodes"]]


def test_the_list_holds_open_episodes_that_need_somebody_with_the_reason(caseload: Service) -> None:
    page = due(caseload)
    assert page["on"] == "2026-03-31"
    assert {one["reference"]: one["statuses"] for one in page["episodes"]} == {
        "ep-1": ["overdue", "stuck_on_starter_tier", "assessment_overdue"],
        "ep-2": ["overdue"],
        "ep-3": ["due"],
    }
    assert page["counts"] == {
        "all": 3, "overdue": 2, "due": 1, "stuck_on_starter_tier": 1, "assessment_overdue": 1
    }  # fmt: skip
    first = page["episodes"][0]
    assert (first["reference"], first["review_due_on"], first["days_overdue"]) == ("ep-1", "2026-03-04", 27)
    assert (first["assessment_overdue_since"], first["stuck_since"]) == ("2026-03-17", "2026-03-16")


def test_looking_ahead_shows_what_will_be_due(caseload: Service) -> None:
    assert references(due(caseload, "?on=2026-04-02")) == ["ep-1", "ep-2", "ep-3", "ep-4"]
    assert references(due(caseload, "?on=2026-03-03")) == []


def test_filters_keep_what_they_name(caseload: Service) -> None:
    assert references(due(caseload, "?status=due")) == ["ep-3"]
    assert references(due(caseload, "?status=assessment_overdue,due")) == ["ep-1", "ep-3"]
    assert references(due(caseload, "?tier=strong")) == []
    assert references(due(caseload, "?tier=mild&calendar=england")) == ["ep-1", "ep-2", "ep-3"]


def test_pages_follow_one_another_without_gap_or_repeat(caseload: Service) -> None:
    seen, cursor, first = [], None, True
    while first or cursor:
        page = due(caseload, f"?limit=1{f'&cursor={cursor}' if cursor else ''}")
        assert (page["counts"] is not None) is first
        seen += references(page)
        cursor, first = page["next"], False
    assert seen == ["ep-1", "ep-2", "ep-3"]


def test_a_cursor_of_another_question_or_organisation_is_refused(caseload: Service) -> None:
    cursor = due(caseload, "?limit=1")["next"]
    asked = caseload.client.get(f"/v1/reviews/due?limit=1&tier=mild&cursor={cursor}")
    assert problem_of(asked, "invalid-query", 422) == [("foreign-cursor", None)]
    other = bearer(caseload.keys.make("other", ("read",), "elsewhere"))
    asked = caseload.client.get(f"/v1/reviews/due?cursor={cursor}", headers=other)
    assert problem_of(asked, "invalid-query", 422) == [("foreign-cursor", None)]


def test_another_organisation_sees_its_own_alone(caseload: Service) -> None:
    other = bearer(caseload.keys.make("other", ("read",), "elsewhere"))
    answer = caseload.client.get("/v1/reviews/due", headers=other)
    assert references(answer.json()) == ["ep-9"]
    assert caseload.client.get("/v1/caseload", headers=other).json()["legs"] == 1


@pytest.mark.parametrize(
    "query",
    [
        "on=2026-02-30",
        "on=0001-01-01",
        "on=yesterday",
        "status=late",
        "status=due,",
        "tier=mildly",
        "calendar=france",
        "limit=0",
        "limit=501",
        "limit=" + "9" * 5000,
        "cursor=x",
        "cursor=0.2026-02-30.ep-1.0123456789abcdef",
        "cursor=9.2026-02-03.ep-1.0123456789abcdef",
        "surprise=1",
        "on=2026-03-01&on=2026-03-02",
    ],
)
def test_a_bad_query_is_refused_by_name(caseload: Service, query: str) -> None:
    assert problem_of(caseload.client.get(f"/v1/reviews/due?{query}"), "invalid-query", 422)


def test_all_bad_parameters_are_named_at_once(caseload: Service) -> None:
    answer = caseload.client.get("/v1/reviews/due?on=x&status=y&limit=z")
    assert len(problem_of(answer, "invalid-query", 422)) == 3


def test_a_caller_without_the_scope_is_refused(caseload: Service) -> None:
    approver = bearer(caseload.keys.make("approver", ("approve",)))
    for path in ("reviews/due", "reviews/calendar", "caseload", "caseload/scenario"):
        answer = caseload.client.get(f"/v1/{path}", headers=approver)
        assert problem_of(answer, "insufficient-scope", 403)


def test_the_feed_is_read_by_a_calendar_library(caseload: Service) -> None:
    answer = caseload.client.get("/v1/reviews/calendar")
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    events = {event.name: event.begin.date() for event in ics.Calendar(answer.text).events}
    assert sorted(events) == [f"Review ep-{number}: mild" for number in (1, 2, 3, 4)]
    assert events["Review ep-1: mild"].isoformat() == "2026-03-04"
    assert events["Review ep-3: mild"].isoformat() == "2026-03-31"
    assert "Local policy" in answer.text.replace("\r\n ", "")


def test_the_picture_counts_legs_and_comes_as_json_csv_and_svg(caseload: Service) -> None:
    found = caseload.client.get("/v1/caseload").json()
    assert (found["legs"], found["open_legs"]) == (5, 4)
    assert found["assessed"] == {"count": 0, "of": 2, "percent": "0.0", "within_days": 14}
    assert found["still_at_starter_tier"][0] == {
        "after_days": 14,
        "count": 2,
        "not_known": 0,
        "of": 2,
        "percent": "100.0",
    }
    table = caseload.client.get("/v1/caseload?form=csv")
    rows = list(csv.DictReader(io.StringIO(table.text)))
    assert {"figure": "open_legs", "count": "4", "of": "5"}.items() <= rows[1].items()
    picture = caseload.client.get("/v1/caseload", headers={"Accept": "image/svg+xml"})
    assert picture.headers["content-type"] == "image/svg+xml"
    root = ET.fromstring(picture.text)  # noqa: S314 - what we wrote ourselves
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "ep-1" not in picture.text + table.text


def test_a_period_keeps_legs_that_were_first_seen_in_it(caseload: Service) -> None:
    assert caseload.client.get("/v1/caseload?from=2026-03-03&before=2026-03-29").json()["legs"] == 2
    assert caseload.client.get("/v1/caseload?as_of=2026-03-10").json()["open_legs"] == 2
    answer = caseload.client.get("/v1/caseload?from=2026-03-03&before=2026-03-03&as_of=2026-04-01")
    assert sorted(problem_of(answer, "invalid-query", 422)) == [
        ("dates-out-of-order", None),
        ("future-date", None),
    ]


def test_a_scenario_shows_every_input_and_a_range(caseload: Service) -> None:
    found = caseload.client.get("/v1/caseload/scenario?weeks=4&mild=1.5-3").json()
    assert found["legs"] == [{"count": 3, "tier": "mild"}]
    assert found["assumed_visits_a_week"] == [{"least": "1.5", "most": "3", "tier": "mild"}]
    assert found["visits"] == {"least": "18", "most": "36"}
    assert found["scenario"].startswith("A scenario, not a forecast")
    reversed_range = caseload.client.get("/v1/caseload/scenario?mild=3-2")
    assert problem_of(reversed_range, "invalid-query", 422) == [("range-out-of-order", None)]
    for query in ("mild=3", "mild=-1-2", "weeks=0", "weeks=53"):
        answer = caseload.client.get(f"/v1/caseload/scenario?{query}")
        assert problem_of(answer, "invalid-query", 422) == [("bad-parameter", None)]
