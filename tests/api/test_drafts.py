"""The way of an edition from a draft to its release over HTTP: two people, every step in the log."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import httpx2
import orjson
import pytest

from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.log import Log
from limbtier.domain.assessment import day_of
from limbtier.domain.caller import Caller
from limbtier.domain.draft import Draft
from limbtier.foundation.clock import now
from limbtier.governance.scaffold import scaffold
from limbtier.store.drafts import EditionTable
from limbtier.store.entries import EntryStore
from limbtier.store.keys import KeyTable
from limbtier.store.opening import open_database
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.manage_keys import KeyManager
from limbtier.use_cases.release_edition import Releases
from limbtier.use_cases.release_rules import ReleasedRules
from tests.api.running import serving
from tests.api.service import CHECKOUT, JSON, Service, bearer, first_contact, problem_of, start
from tests.support.keys import id_of
from tests.support.releases import (
    APPROVER,
    CORE,
    RULES,
    QuickReleases,
    approved,
    local_files,
    records,
    steps_over,
)
from tests.support.releases import released as released_steps

DRAFT = "larchmere-2026.1.0"
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


def test_requests_in_flight_during_a_release_are_answered_by_one_edition_or_the_other(
    rules: ReadyRules,
) -> None:
    with serving(replace(rules, rule_set="larchmere")) as server:
        service = server.service
        earlier = steps_over(service.log, rules, lambda: now() - timedelta(days=1))
        store = service.log.store
        here = ReleasedRules(service.decider, earlier.released.editions, store, RULES)
        steps = QuickReleases(earlier.table, here, store, service.log.append)
        today = day_of(now())
        old = local_files(rules, first=today - timedelta(days=1))
        released_steps(earlier, old)
        steps.released.follow()
        new = {**local_files(rules, "2026.2.0", today), "rules/local.yaml": RULE}
        draft = approved(steps, new, "2026.2.0")
        contact = orjson.dumps(contact_now())
        answers: list[list[tuple[str, str, bool]]] = [[] for _ in range(4)]
        begun, done = threading.Barrier(5), threading.Event()

        def ask(found: list[tuple[str, str, bool]]) -> None:
            headers = {**JSON, **bearer(service.keys.everything)}
            with httpx2.Client(base_url=server.address, headers=headers) as client:
                begun.wait()
                while not done.is_set():
                    answer = client.post("/v1/previews", content=contact)
                    edition = answer.json()["edition"]
                    found.append((edition["id"], edition["digest"], "ward of Larchmere" in answer.text))

        threads = [threading.Thread(target=ask, args=(found,)) for found in answers]
        for thread in threads:
            thread.start()
        begun.wait()
        wait_for(lambda: all(len(found) > 10 for found in answers))
        steps.release(APPROVER, draft.edition, draft.etag)
        at_release = [len(found) for found in answers]
        wait_for(lambda: all(len(one) > n + 3 for one, n in zip(answers, at_release, strict=True)))
        done.set()
        for thread in threads:
            thread.join()
        loaded = service.decider.rules.editions
        one, two = (loaded[f"larchmere-2026.{number}.0"].edition for number in (1, 2))
        whole = {(one.id, one.digest, False), (two.id, two.digest, True)}
        for found, after in zip(answers, at_release, strict=True):
            assert set(found) == whole
            assert found == sorted(found)  # once the new one has answered, the old one never does again
            assert set(found[after + 1 :]) == {(two.id, two.digest, True)}


def contact_now() -> dict[str, Any]:
    """A contact of now that the rule of the local edition is about."""
    contact = first_contact()
    return {
        **contact,
        "assessed_at": now().isoformat(),
        "person": {**contact["person"], "diabetes": True},
    }


def wait_for(holds: Callable[[], bool]) -> None:
    """Until something holds; a minute at most."""
    for _ in range(6000):
        if holds():
            return
        time.sleep(0.01)
    raise AssertionError("it never came")


def test_a_service_takes_up_what_another_process_releases(tmp_path: Path, rules: ReadyRules) -> None:
    environment = {
        **os.environ,
        "PYTHONPATH": str(CHECKOUT / "service"),
        "LIMBTIER_DATABASE": str(tmp_path / "log.sqlite3"),
        "LIMBTIER_RULES": str(RULES),
    }
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    store = EntryStore(open_database(tmp_path / "log.sqlite3"))
    log = Log(store, KeyFolder(tmp_path / "log.sqlite3.keys"), "limbtier.invalid/log")
    _, key = KeyManager(KeyTable(store.database), log.append).add("integrator", "quillerbeck")
    command = [sys.executable, "-m", "limbtier.cli", "serve", "--port", str(port)]
    client = httpx2.Client(base_url=f"http://127.0.0.1:{port}", headers=bearer(key))
    with client, subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL) as process:
        try:
            wait_for(lambda: listed(client) is not None)
            assert DRAFT not in (listed(client) or {})
            steps = steps_over(log, rules, now)
            released_steps(steps, local_files(rules, first=day_of(now())))
            wait_for(lambda: DRAFT in (listed(client) or {}))
            entry = records(log)[-1]
            assert (entry["kind"], entry["edition"]) == ("edition_released", DRAFT)
            shown = (listed(client) or {})[DRAFT]
            assert (shown["digest"], shown["status"]) == (entry["digest"], "released")
            steps.retire(APPROVER, DRAFT, "Replaced.")
            wait_for(lambda: (listed(client) or {})[DRAFT]["status"] == "retired")
        finally:
            process.terminate()
    log.close()


def listed(client: httpx2.Client) -> dict[str, dict[str, str]] | None:
    """The editions of a service by id; None while it does not answer."""
    with suppress(httpx2.TransportError):
        return {one["id"]: one for one in client.get("/v1/editions").json()["editions"]}
    return None


KILLED = """
import os, sys
from pathlib import Path
from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.log import Log
from limbtier.store.drafts import EditionTable
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from limbtier.use_cases.ready_rules import ready_rules
from tests.support.releases import APPROVER, RULES, steps_over

def killing(make):
    def releasing(*values):
        also = make(*values)
        def act(cursor, position):
            if sys.argv[2] == "COMMIT":
                also(cursor, position)
            os._exit(9)
        return act
    return releasing

EditionTable.releasing = killing(EditionTable.releasing)
folder = Path(sys.argv[1])
store = EntryStore(open_database(folder / "log.sqlite3"))
log = Log(store, KeyFolder(folder / "keys"), "limbtier.invalid/test")
steps = steps_over(log, ready_rules(RULES))
draft = steps.table.all("quillerbeck")[0]
steps.release(APPROVER, draft.edition, draft.etag)
"""


def test_a_process_that_is_killed_while_it_releases_leaves_nothing_half_released(
    tmp_path: Path, rules: ReadyRules
) -> None:
    log = Log(
        EntryStore(open_database(tmp_path / "log.sqlite3")),
        KeyFolder(tmp_path / "keys"),
        "limbtier.invalid/test",
    )
    steps = steps_over(log, rules)
    draft = approved(steps, local_files(rules))
    size = log.size
    for before in ("the rows", "COMMIT"):
        command = [sys.executable, "-c", KILLED, str(tmp_path), before]
        environment = {**os.environ, "PYTHONPATH": f"{CHECKOUT / 'service'}:{CHECKOUT}"}
        assert subprocess.run(command, env=environment, check=False).returncode == 9
    assert log.size == size
    assert steps.find(APPROVER, DRAFT)[0] == draft
    assert steps.released.editions.listing().released == ()
    assert steps.release(APPROVER, DRAFT, draft.etag).state == "released"
    assert [one["kind"] for one in records(log)][-1] == "edition_released"
    log.close()


def test_a_change_says_which_state_it_is_made_for(team: Team, rules: ReadyRules) -> None:
    files = {"edition.yaml": "edition: larchmere\n"}
    path = f"/v1/drafts/{DRAFT}"
    for headers in ({}, {"If-Match": "*"}):
        answer = team.editor.put(files, headers)
        assert problem_of(answer, "precondition-required", 428) == [("precondition-required", None)]
    for headers in (
        {"If-None-Match": '"1"'},
        {"If-None-Match": "*", "If-Match": '"1-0123456789abcdef"'},
        {"If-Match": 'W/"1-0123456789abcdef"'},
        {"If-Match": '"a", "b"'},
        {"If-Match": "1-0123456789abcdef"},
    ):
        assert problem_of(team.editor.put(files, headers), "malformed-request", 400) == [("bad-header", None)]
    assert problem_of(team.editor.put(files, {"If-Match": '"1-0"'}), "not-found", 404)
    etag = team.editor.put(files, NEW).headers["etag"]
    assert problem_of(team.editor.put(files, NEW), "precondition-failed", 412) == [("draft-exists", None)]
    second = team.editor.put({"CHANGES.md": "Other."}, {"If-Match": etag})
    assert (second.status_code, second.json()["revision"]) == (200, 2)
    stale = (
        team.editor.put(files, {"If-Match": etag}),
        team.editor("DELETE", path, headers={"If-Match": etag}),
        team.approver.take("approve", etag),
        team.approver.take("release", etag),
    )
    for answer in stale:
        assert problem_of(answer, "precondition-failed", 412) == [("draft-changed", None)]
    for method, step in (("DELETE", ""), ("POST", "/approve"), ("POST", "/release")):
        person = team.editor if method == "DELETE" else team.approver
        assert problem_of(person(method, path + step), "precondition-required", 428)
    assert team.editor("GET", f"{path}?files=true").json()["files"] == {"CHANGES.md": "Other."}
    gone = team.editor("DELETE", path, {"reason": "Begun anew."}, {"If-Match": second.headers["etag"]})
    assert gone.json()["state"] == "discarded"
    assert problem_of(team.editor("GET", path), "not-found", 404) == [("unknown-draft", None)]
    assert [one["kind"] for one in entries(team.service)] == ["edition_saved"] * 2 + ["edition_discarded"]
    assert entries(team.service)[-1]["reason"] == "Begun anew."


def test_each_step_needs_its_scope_and_a_draft_is_its_organisations(team: Team) -> None:
    etag = team.editor.put({"CHANGES.md": ""}, NEW).headers["etag"]
    path = f"/v1/drafts/{DRAFT}"
    for person, method, where in (
        (team.approver, "PUT", path),
        (team.approver, "DELETE", path),
        (team.approver, "POST", "/v1/drafts"),
        (team.integrator, "GET", path),
        (team.integrator, "GET", "/v1/drafts"),
        (team.integrator, "POST", f"{path}/check"),
        (team.auditor, "POST", f"{path}/prove"),
        (team.editor, "POST", f"{path}/approve"),
        (team.editor, "POST", f"{path}/release"),
        (team.editor, "POST", "/v1/editions/core-2026.1.0/retire"),
    ):
        assert problem_of(person(method, where), "insufficient-scope", 403) == [("insufficient-scope", None)]
    for method, where in (
        ("GET", path),
        ("DELETE", path),
        ("POST", f"{path}/check"),
        ("POST", f"{path}/prove"),
        ("POST", f"{path}/approve"),
        ("POST", f"{path}/release"),
    ):
        answer = team.stranger(method, where, headers={"If-Match": etag})
        assert problem_of(answer, "not-found", 404) == [("unknown-draft", None)]
    assert team.stranger("GET", "/v1/drafts").json() == {"drafts": []}
    [summary] = team.auditor("GET", "/v1/drafts").json()["drafts"]
    assert (summary["edition"], summary["saved_by"]) == (DRAFT, [team.editor.id])


@pytest.mark.parametrize(
    ("body", "code", "status", "found"),
    [
        (b"{", "not-json", 400, [("not-json", "#")]),
        (b'{"files": {"a": 1, "a": 2}}', "not-json", 400, [("not-json", "#/files/a")]),
        (b'{"files": {"CHANGES.md": "\xff"}}', "not-json", 400, [("not-json", "#")]),
        (b'{"files": {"CHANGES.md": "\\ud800"}}', "not-json", 400, [("not-json", "#/files/CHANGES.md")]),
        (b"[" * 100_000, "not-json", 400, [("not-json", "#")]),
        (b'{"files": {"a": ' + b"[" * 60 + b"]" * 60 + b"}}", "not-json", 400, [("not-json", "#/files/a/0")]),
        (b"[]", "invalid-draft", 422, [("wrong-type", "#")]),
        (b"{}", "invalid-draft", 422, [("wrong-type", "#/files")]),
        (b'{"files": {"CHANGES.md": ""}, "reasn": ""}', "invalid-draft", 422, [("unknown-field", "#/reasn")]),
        (b'{"files": {"CHANGES.md": ""}, "reason": " "}', "invalid-draft", 422, [("bad-reason", "#/reason")]),
        (b'{"files": {"../x": "\\u0000"}}', "invalid-draft", 422,
         [("bad-path", "#/files/..~1x"), ("bad-text", "#/files/..~1x")]),
        (b'{"files": {"CHANGES.md": "' + b"a" * 2_000_001 + b'"}}', "invalid-draft", 422,
         [("draft-too-large", "#/files")]),
        (b" " * (4 * 1024 * 1024 + 1), "body-too-large", 413, [("body-too-large", None)]),
    ],
    ids=lambda value: repr(value)[:40],
)  # fmt: skip
def test_whatever_is_sent_as_a_draft_gets_a_clear_problem_and_keeps_nothing(
    team: Team, body: bytes, code: str, status: int, found: list[tuple[str, str | None]]
) -> None:
    answer = team.editor("PUT", f"/v1/drafts/{DRAFT}", body, NEW)
    assert problem_of(answer, code, status) == found
    assert team.service.log.size == 0
    assert team.editor("GET", "/v1/drafts").json() == {"drafts": []}


def test_bad_ids_copies_and_reasons_are_named(team: Team) -> None:
    for name in ("larchmere", "guard_rails-2026.1.0", "l%D0%B0rchmere-2026.1.0", "..%2Fx-2026.1.0"):
        answer = team.editor("PUT", f"/v1/drafts/{name}", {"files": {"CHANGES.md": ""}}, NEW)
        assert answer.status_code in (404, 422), answer.text
    bad = {"copy_of": "../core", "version": "1", "effective_from": "2026-02-30", "x": 1}
    assert problem_of(team.editor("POST", "/v1/drafts", bad), "invalid-draft", 422) == [
        ("unknown-field", "#/x")
    ]
    del bad["x"]
    assert problem_of(team.editor("POST", "/v1/drafts", bad), "invalid-draft", 422) == [
        ("bad-edition-id", "#/copy_of"),
        ("bad-version", "#/version"),
        ("impossible-date", "#/effective_from"),
    ]
    for body in (None, {}, {"reason": ""}, {"reason": 1}, {"reason": "two\nlines"}):
        answer = team.approver("POST", "/v1/editions/core-2026.1.0/retire", body)
        assert problem_of(answer, "invalid-draft", 422) == [("bad-reason", "#/reason")]
    copy = team.editor("POST", "/v1/drafts", {"copy_of": CORE, "version": "2027.1.0"})
    assert (copy.status_code, copy.headers["location"]) == (201, "/v1/drafts/core-2027.1.0")


def test_a_worker_that_cannot_load_a_release_is_not_ready(team: Team, rules: ReadyRules) -> None:
    log = team.service.log
    released_steps(steps_over(log, rules, now), local_files(rules, first=day_of(now())))
    with log.store.database.writing() as cursor:
        cursor.execute("UPDATE released_editions SET files = X'00'")
    released = ReleasedRules(team.service.decider, EditionTable(log.store.database), log.store, RULES)
    wait_for(lambda: team.service.client.get("/health/ready").status_code == 503)
    answer = team.service.client.get("/health/ready")
    assert problem_of(answer, "not-ready", 503) == [("release-not-loaded", None)]
    assert released.decider.rules is rules
    assert team.integrator("POST", "/v1/previews", first_contact()).status_code == 200


def test_a_worker_checks_one_draft_at_a_time_and_goes_on_when_nobody_waits(
    rules: ReadyRules, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, go_on = threading.Event(), threading.Event()

    def check(steps: Releases, caller: Caller, edition: str) -> Draft:
        begun.set()
        assert go_on.wait(60)
        return steps.find(caller, edition)[0]

    monkeypatch.setattr(Releases, "check", check)
    with serving(rules) as server:
        editor = team_of(server.service).editor
        address = f"{server.address}/v1/drafts/{DRAFT}"
        with httpx2.Client(headers=bearer(editor.key)) as client:
            body = orjson.dumps({"files": {"CHANGES.md": ""}})
            assert client.put(address, content=body, headers={**JSON, **NEW}).status_code == 201
            with pytest.raises(httpx2.TimeoutException):
                client.post(f"{address}/check", timeout=0.5)
            assert begun.is_set()
            for step in ("check", "prove"):
                answer = client.post(f"{address}/{step}")
                assert problem_of(answer, "step-refused", 409) == [("judging-in-progress", None)]
            assert client.get(address).json()["state"] == "draft"  # and reading does not wait
            go_on.set()
            wait_for(lambda: client.post(f"{address}/check").status_code == 200)
