"""Decisions and previews: what is answered, what is stored, and that both are the same bytes."""

from __future__ import annotations

import re
import sqlite3
import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import orjson
import pytest

from limbtier.domain.decision import Decision
from limbtier.domain.entry import Entry
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import EnginesDisagree, GuardRailBroken
from limbtier.store.faults import Busy
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.decision_record import RecordWriter
from tests.api.service import Service, first_contact, invented, problem_of, start

CONTACTS = ("first_contact.json", "incomplete_contact.json", "both_legs.json", "follow_up.json")


@pytest.mark.parametrize("name", CONTACTS)
def test_a_decision_is_read_back_byte_for_byte(service: Service, name: str) -> None:
    made = service.post("/v1/decisions", invented(name))
    assert made.status_code == 201
    assert made.headers["content-type"] == "application/json"
    read = service.client.get(made.headers["location"])
    assert read.status_code == 200
    assert read.content == made.content
    assert made.headers["location"] == f"/v1/decisions/{made.json()['id']}"
    assert service.log.size == 1


@pytest.mark.parametrize("name", CONTACTS)
def test_a_preview_is_the_decision_without_id_and_stores_nothing(service: Service, name: str) -> None:
    preview = service.post("/v1/previews", invented(name))
    assert preview.status_code == 200
    assert service.log.size == 0
    decision = service.post("/v1/decisions", invented(name)).json()
    fleeting = {"id": None, "decided_at": None, "caller": None, "kind": None}
    assert {**preview.json(), **fleeting} == {**decision, **fleeting}
    assert preview.json()["id"] is None


def test_the_bytes_are_those_of_the_use_case(rules: ReadyRules) -> None:
    class Fixed(Decider):
        def preview(self, body: bytes) -> bytes:
            return b"exactly " + body

    service = start(rules, Fixed(rules))
    assert service.post("/v1/previews", b"these").content == b"exactly these"


def test_both_legs_are_decided_in_one_request(service: Service) -> None:
    answer = service.post("/v1/decisions", invented("both_legs.json")).json()
    assert set(answer["limbs"]) == {"left", "right"}
    assert answer["person"]["disposition"] == "stop_and_escalate"


def test_the_edition_asked_for_decides(service: Service, rules: ReadyRules) -> None:
    for name in rules.editions:
        answer = service.post("/v1/previews", {**first_contact(), "edition": name}).json()
        assert answer["edition"]["id"] == name


def test_the_assessment_is_kept_as_it_was_sent(service: Service) -> None:
    body = orjson.dumps(first_contact(), option=orjson.OPT_INDENT_2)
    assert service.post("/v1/decisions", body).json()["received"] == body.decode()


def test_decisions_made_at_once_all_are_stored_under_ids_of_their_own(service: Service) -> None:
    body = invented("first_contact.json")
    with ThreadPoolExecutor(8) as pool:
        made = list(pool.map(lambda _: service.post("/v1/decisions", body), range(24)))
    assert {answer.status_code for answer in made} == {201}
    assert len({answer.headers["location"] for answer in made}) == 24
    assert service.log.size == 24
    for answer in made:
        assert service.client.get(answer.headers["location"]).content == answer.content


def test_deciding_and_the_disk_run_on_the_event_loop_and_waiting_for_another_writer_does_not(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    busy = threading.Event()
    seen: dict[str, list[str]] = {"decide": [], "append": []}
    decision, append = service.decider.decision, service.log.store.append

    def watched_decision(body: bytes, **named: Any) -> tuple[Decision, RecordWriter]:
        seen["decide"].append(threading.current_thread().name)
        return decision(body, **named)

    def watched_append(new: Sequence[Entry], *, wait: bool = True) -> list[int]:
        seen["append"].append(threading.current_thread().name)
        if not wait and busy.is_set():
            raise Busy
        return append(new)

    monkeypatch.setattr(service.decider, "decision", watched_decision)
    monkeypatch.setattr(service.log.store, "append", watched_append)
    assert service.post("/v1/decisions", first_contact()).status_code == 201
    busy.set()
    assert service.post("/v1/decisions", first_contact()).status_code == 201
    assert "limbtier-log" not in seen["decide"]
    first, *then = seen["append"]
    assert first == seen["decide"][0]
    assert then == [seen["decide"][1], "limbtier-log"]


# Refusals of the service itself.


@pytest.mark.parametrize(
    ("error", "code"), [(EnginesDisagree, "engines-disagree"), (GuardRailBroken, "guard-rail-broken")]
)
@pytest.mark.parametrize("path", ["/v1/previews", "/v1/decisions"])
def test_no_tier_is_given_when_a_safety_check_fails(
    rules: ReadyRules,
    error: type[EnginesDisagree] | type[GuardRailBroken],
    code: str,
    path: str,
    caplog: pytest.LogCaptureFixture,
) -> None:
    class Failing(Decider):
        def decision(self, body: bytes, **_named: Any) -> None:  # type: ignore[override]
            raise error([Diagnostic(code, "some-rule differs", "Report it.")])

    service = start(rules)
    service = start(rules, Failing(rules))
    answer = service.post(path, invented("first_contact.json"))
    assert problem_of(answer, code, 500) == [(code, None)]
    assert re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", answer.json()["instance"])
    assert f"{answer.json()['instance']} {code}: some-rule differs" in caplog.text
    assert "some-rule" not in answer.text
    assert service.log.size == 0


def test_a_decision_that_cannot_be_stored_is_not_given(service: Service) -> None:
    service.break_log()
    answer = service.post("/v1/decisions", invented("first_contact.json"))
    assert problem_of(answer, "store-unavailable", 503) == [("store-unavailable", None)]
    assert service.post("/v1/previews", invented("first_contact.json")).status_code == 200
    read = service.client.get("/v1/decisions/00000000-0000-4000-8000-000000000000")
    assert problem_of(read, "store-unavailable", 503) == [("store-unavailable", None)]


def test_an_error_that_nobody_foresaw_tells_the_caller_nothing_of_the_inside(
    rules: ReadyRules, caplog: pytest.LogCaptureFixture
) -> None:
    class Broken(Decider):
        def preview(self, body: bytes) -> bytes:
            raise ZeroDivisionError("secret of the inside")

        def entry(self, *_given: Any) -> Entry:
            raise sqlite3.InterfaceError("secret of the inside")

    service = start(rules, Broken(rules))
    for path in ("/v1/previews", "/v1/decisions"):
        answer = service.post(path, b"{}")
        assert problem_of(answer, "internal-error", 500) == [("internal-error", None)]
        assert "secret" not in answer.text
        assert answer.json()["instance"] in caplog.text
    assert [record.exc_info is not None for record in caplog.records] == [True, True]
