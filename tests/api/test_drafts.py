"""The way of an edition from a draft to its release over HTTP: two people, every step in the log."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import httpx2
import orjson
import pytest

from limbtier.domain.assessment import day_of
from limbtier.foundation.clock import now
from limbtier.governance.scaffold import scaffold
from limbtier.use_cases.decide import ReadyRules
from tests.api.service import JSON, Service, bearer, first_contact, problem_of, start
from tests.support.keys import id_of

CORE, DRAFT = "core-2026.1.0", "larchmere-2026.1.0"
NEW = {"If-None-Match": "*"}
RULE = """\
topic: Local rules
rules:
  - id: local-carers
    title: Carers are told whom to ring
    when: {diabetes: yes}
    then: {caution: Ring the ward of Larchmere.}
    because: Our carers asked for it.
    sources: [common-practice]
    reason: Our carers asked whom to ring when a leg gets worse.
    decided_by: tissue viability lead
"""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody with a key, who asks the service."""

    service: Service
    key: str

    def __call__(
        self, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None
    ) -> httpx2.Response:
        content = None if body is None else body if isinstance(body, bytes) else orjson.dumps(body)
        sent = {**({} if body is None else JSON), **bearer(self.key), **(headers or {})}
        return self.service.client.request(method, path, content=content, headers=sent)

    @property
    def id(self) -> str:
        return f"key:{id_of(self.key)}"

    def put(self, files: dict[str, str], headers: dict[str, str], draft: str = DRAFT) -> httpx2.Response:
        return self("PUT", f"/v1/drafts/{draft}", {"files": files}, headers)

    def take(self, step: str, etag: str | None = None, draft: str = DRAFT) -> httpx2.Response:
        headers = {} if etag is None else {"If-Match": etag}
        return self("POST", f"/v1/drafts/{draft}/{step}", None, headers)


@dataclass(frozen=True, slots=True)
class Team:
    """Four people with a key each, and one of another organisation."""

    service: Service
    editor: Person
    approver: Person
    integrator: Person
    auditor: Person
    stranger: Person


def team_of(service: Service) -> Team:
    of_role = service.keys.of_role
    stranger = service.keys.make("everything", ("edit", "approve", "read", "audit"), "another")
    people = [of_role[role] for role in ("editor", "approver", "integrator", "auditor")]
    return Team(service, *(Person(service, key) for key in (*people, stranger)))


@pytest.fixture
def team(rules: ReadyRules) -> Iterator[Team]:
    service = start(rules)
    with service.client:
        yield team_of(service)


def files_of(rules: ReadyRules, version: str = "2026.1.0", first: date | None = None) -> dict[str, str]:
    """A local edition with one rule, in force from a day on, today if None."""
    base = rules.editions[CORE].edition
    files = dict(scaffold(base, "larchmere", version, first or day_of(now())))
    return {**files, "rules/local.yaml": RULE}


def entries(service: Service) -> list[dict[str, Any]]:
    return [orjson.loads(one.data) for one in service.log.store.entries_from(0, service.log.size)]


def released(team: Team, rules: ReadyRules, **changes: str) -> str:
    """The draft on its whole way; its ETag."""
    etag = str(team.editor.put({**files_of(rules), **changes}, NEW).headers["etag"])
    for person, step, named in (
        (team.editor, "check", None),
        (team.editor, "prove", None),
        (team.approver, "approve", etag),
        (team.approver, "release", etag),
    ):
        answer = person.take(step, named)
        assert answer.status_code == 200, answer.text
    return etag


def test_an_edition_is_released_by_two_people_and_decides_without_a_restart(
    team: Team, rules: ReadyRules
) -> None:
    made = team.editor.put(files_of(rules), NEW)
    assert (made.status_code, made.json()["state"], made.json()["revision"]) == (201, "draft", 1)
    assert made.headers["location"] == f"/v1/drafts/{DRAFT}"
    etag = made.headers["etag"]
    checked = team.editor.take("check").json()
    assert (checked["state"], checked["check"]["errors"], checked["etag"]) == ("checked", 0, etag)
    assert checked["check"]["worked_cases"] > 100
    proved = team.editor.take("prove").json()
    assert (proved["state"], proved["proof"]["passed"]) == ("proved", True)
    assert proved["proof"]["proved"] == len(proved["proof"]["statements"]) > 40
    contact = {**first_contact(), "edition": DRAFT}
    assert team.integrator("POST", "/v1/previews", contact).status_code == 422
    body = {"reason": "Read with the vascular nurses on 24 November."}
    approved = team.approver("POST", f"/v1/drafts/{DRAFT}/approve", body, {"If-Match": etag})
    assert (approved.json()["state"], approved.json()["approved_by"]) == ("approved", team.approver.id)
    answer = team.approver.take("release", etag)
    assert (answer.status_code, answer.json()["state"]) == (200, "released")
    digest = answer.json()["digest"]

    decision = team.integrator("POST", "/v1/decisions", contact)
    assert decision.status_code == 201, decision.text
    assert decision.json()["edition"]["digest"] == digest
    assert decision.json()["edition"]["status"] == "released"
    editions = {one["id"]: one for one in team.integrator("GET", "/v1/editions").json()["editions"]}
    assert (editions[DRAFT]["digest"], editions[DRAFT]["status"]) == (digest, "released")

    steps = [one for one in entries(team.service) if one["kind"].startswith("edition_")]
    assert [one["kind"].removeprefix("edition_") for one in steps] == [
        "saved", "checked", "proved", "approved", "released",
    ]  # fmt: skip
    assert [one["caller"]["id"] for one in steps] == [team.editor.id] * 3 + [team.approver.id] * 2
    assert [one["digest"] for one in steps] == [None, *[digest] * 4]
    assert {one["files_digest"] for one in steps} == {made.json()["files_digest"]}
    assert steps[3]["reason"] == body["reason"]
    assert (steps[4]["approved_by"], steps[4]["saved_by"]) == (team.approver.id, [team.editor.id])

    retired = team.approver("POST", f"/v1/editions/{DRAFT}/retire", {"reason": "Replaced."})
    assert retired.json() == {"edition": DRAFT, "status": "retired"}
    listed = {one["id"]: one for one in team.integrator("GET", "/v1/editions").json()["editions"]}
    assert listed[DRAFT]["status"] == "retired"
    replay = team.auditor("POST", f"/v1/decisions/{decision.json()['id']}/replays")
    assert (replay.status_code, replay.json()["same"]) == (201, True)
    again = team.approver("POST", f"/v1/editions/{DRAFT}/retire", {"reason": "Twice."})
    assert problem_of(again, "step-refused", 409) == [("not-released", None)]
    assert team.editor("GET", f"/v1/drafts/{DRAFT}").json()["state"] == "retired"
