"""The whole way over HTTP on PostgreSQL: an episode, the due list, a draft and its release, an impact."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import orjson
import pytest

from limbtier.domain.assessment import day_of
from limbtier.foundation.clock import now
from limbtier.governance.scaffold import scaffold
from limbtier.use_cases.decide import ReadyRules
from tests.api.service import JSON, Service, bearer, first_contact, invented, start
from tests.support.postgresql import Server
from tests.support.releases import EDITOR, steps_over

LOCAL, DRAFT = "quillerbeck-2026.1.0", "larchmere-2026.1.0"
LONGEST_SECONDS = 300.0


@pytest.fixture(scope="module")
def service(rules: ReadyRules, postgresql: Server) -> Iterator[Service]:
    """A service over PostgreSQL, with two contacts of one episode."""
    address = postgresql.new_database()
    service = start(rules, database=address)
    with service.client:
        for contact in (first_contact(), orjson.loads(invented("follow_up.json"))):
            assert service.post("/v1/decisions", contact).status_code == 201
        yield service
    postgresql.empty(address)


def read(service: Service, path: str) -> dict[str, Any]:
    answer = service.client.get(path)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_an_episode_is_kept_with_its_events_and_is_due(service: Service) -> None:
    episode = first_contact()["episode"]
    missed = {"kind": "review_missed", "happened_on": "2026-03-20", "reason": "not_at_home"}
    assert service.post(f"/v1/episodes/{episode}/events", missed).status_code == 201
    known = read(service, f"/v1/episodes/{episode}")
    assert (known["contacts"], known["events"]) == (2, 1)
    assert known["limbs"]["left"]["current_tier"] == "moderate"
    due = read(service, "/v1/reviews/due?on=2026-06-01")
    assert [(one["reference"], "overdue" in one["statuses"]) for one in due["episodes"]] == [(episode, True)]
    assert due["counts"]["overdue"] == 1
    assert read(service, "/v1/caseload")["legs"] == 1


def test_a_draft_is_released_by_two_people_and_retired(service: Service, rules: ReadyRules) -> None:
    base = rules.editions["core-2026.1.0"].edition
    files = dict(scaffold(base, "larchmere", "2026.1.0", day_of(now()) + timedelta(days=1)))
    editor, approver = (bearer(service.keys.of_role[role]) for role in ("editor", "approver"))
    path = f"/v1/drafts/{DRAFT}"
    body = orjson.dumps({"files": files})
    made = service.client.put(path, content=body, headers={**JSON, **editor, "If-None-Match": "*"})
    assert made.status_code == 201, made.text
    quick = steps_over(service.log, rules, now)
    quick.check(EDITOR, DRAFT)
    quick.prove(EDITOR, DRAFT)
    match = {"If-Match": made.headers["etag"]}
    for step, state in (("approve", "approved"), ("release", "released")):
        done = service.client.post(f"{path}/{step}", headers={**approver, **match})
        assert (done.status_code, done.json()["state"]) == (200, state), done.text
    listed = {one["id"]: one["status"] for one in read(service, "/v1/editions")["editions"]}
    assert listed[DRAFT] == "released"
    retired = service.post(f"/v1/editions/{DRAFT}/retire", {"reason": "Replaced."}, approver)
    assert retired.json() == {"edition": DRAFT, "status": "retired"}


def test_the_impact_counts_the_decisions_of_the_log(service: Service) -> None:
    begun = service.client.post(f"/v1/editions/{LOCAL}/impact")
    assert begun.status_code == 202, begun.text
    until = time.monotonic() + LONGEST_SECONDS
    while (answer := service.client.get(begun.headers["location"])).status_code == 202:
        assert time.monotonic() < until
        time.sleep(0.2)
    assert answer.status_code == 200, answer.text
    assert (answer.json()["assessments"], answer.json()["not_decided"]) == (2, [])
