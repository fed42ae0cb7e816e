"""Reading the log over HTTP: finding, showing, explaining and replaying decisions, and the proofs."""

from __future__ import annotations

import base64
import json
from typing import Any

import httpx2
import orjson
import pytest

from limbtier.foundation.merkle import leaf_hash, verify_consistency, verify_inclusion
from limbtier.foundation.signed_note import Checkpoint, open_note
from limbtier.use_cases.decide import ReadyRules
from tests.api.service import Service, bearer, first_contact, invented, problem_of


def decide(service: Service, **changes: Any) -> str:
    """The id of a decision about the first contact, with members of the request changed."""
    made = service.post("/v1/decisions", {**first_contact(), **changes})
    assert made.status_code == 201, made.text
    return str(made.json()["id"])


def found(answer: httpx2.Response) -> list[str]:
    """The ids on a page."""
    assert answer.status_code == 200, answer.text
    return [one["id"] for one in answer.json()["decisions"]]


# Finding decisions.


def test_decisions_are_found_newest_first(service: Service) -> None:
    ids = [decide(service) for _ in range(3)]
    assert found(service.client.get("/v1/decisions")) == ids[::-1]


@pytest.mark.parametrize(
    ("query", "finds"),
    [
        ("episode=episode-1", ["one"]),
        ("episode=episode-9", []),
        ("tier=mild", ["one"]),
        ("tier=withhold", ["two"]),
        ("disposition=stop_and_escalate", ["two"]),
        ("tier=mild&disposition=stop_and_escalate", []),
        ("rule=hf-stable-mild", ["two", "one"]),
        ("rule=sepsis", ["two"]),
        ("rule=hf-stable", []),
        ("edition=core-2026.1.0", ["two", "one"]),
        ("edition=core-2025.1.0", []),
        ("decided_from=2026-01-01", ["two", "one"]),
        ("decided_before=2026-01-01", []),
        ("decided_from=2026-01-01T00:00:00Z&decided_before=2099-01-01", ["two", "one"]),
    ],
)
def test_each_filter_finds_what_fits_and_nothing_else(service: Service, query: str, finds: list[str]) -> None:
    stopped = first_contact()["person"] | {"signs_of_sepsis": True}
    ids = {
        "one": decide(service, episode="episode-1"),
        "two": decide(service, episode="episode-2", person=stopped),
    }
    assert found(service.client.get(f"/v1/decisions?{query}")) == [ids[name] for name in finds]


def test_pages_are_stable_while_decisions_are_made(service: Service) -> None:
    ids = [decide(service) for _ in range(5)]
    seen: list[str] = []
    cursor = ""
    while True:
        page = service.client.get(f"/v1/decisions?limit=2{cursor}")
        seen += found(page)
        decide(service)
        if page.json()["next"] is None:
            break
        cursor = f"&cursor={page.json()['next']}"
    assert seen == ids[::-1]


def test_a_cursor_of_another_question_or_organisation_is_refused(service: Service) -> None:
    for _ in range(3):
        decide(service)
    cursor = service.client.get("/v1/decisions?limit=1").json()["next"]
    other = service.client.get(f"/v1/decisions?limit=1&tier=mild&cursor={cursor}")
    assert problem_of(other, "invalid-query", 422) == [("foreign-cursor", None)]
    elsewhere = bearer(service.keys.make("elsewhere", {"read"}, "elsewhere"))
    other = service.client.get(f"/v1/decisions?limit=1&cursor={cursor}", headers=elsewhere)
    assert problem_of(other, "invalid-query", 422) == [("foreign-cursor", None)]
    assert service.client.get(f"/v1/decisions?limit=1&cursor={cursor}").status_code == 200


@pytest.mark.parametrize(
    "query",
    [
        "limit=0",
        "limit=101",
        "limit=-1",
        "limit=1.5",
        pytest.param(f"limit={'9' * 5000}", id="limit of 5000 digits"),
        "cursor=1",
        "cursor=../../etc",
        "tier=MILD",
        "disposition=better",
        "decided_from=yesterday",
        "decided_from=2026-02-30",
        "decided_before=2026-01-01T00:00:00",
        "episode=9434765919%00",
        "edition=core",
    ],
)
def test_a_bad_parameter_is_named(service: Service, query: str) -> None:
    answer = service.client.get(f"/v1/decisions?{query}")
    [(code, _)] = problem_of(answer, "invalid-query", 422)
    assert code == ("impossible-date" if query == "decided_from=2026-02-30" else "bad-parameter")
    assert f"`{query.partition('=')[0]}`" in answer.json()["errors"][0]["detail"]


def test_a_list_whose_rows_were_changed_is_no_list(
    service: Service, caplog: pytest.LogCaptureFixture
) -> None:
    decide(service)
    with service.log.store.database.writing() as cursor:
        cursor.execute("UPDATE decided_limbs SET tier = 'none'")
    problem_of(service.client.get("/v1/decisions"), "store-unavailable", 503)
    assert "limbtier rebuild-index" in caplog.text


def test_another_organisation_reads_none_of_it(service: Service) -> None:
    decision_id = decide(service)
    headers = bearer(service.keys.make("elsewhere", {"read", "audit"}, "elsewhere"))
    assert found(service.client.get("/v1/decisions", headers=headers)) == []
    for end in ("", "/text", "/provenance", "/explanation", "/proof"):
        answer = service.client.get(f"/v1/decisions/{decision_id}{end}", headers=headers)
        assert problem_of(answer, "not-found", 404) == [("unknown-decision", None)]
    answer = service.client.post(f"/v1/decisions/{decision_id}/replays", headers=headers)
    assert problem_of(answer, "not-found", 404) == [("unknown-decision", None)]


# Showing a decision.


def test_a_decision_is_shown_as_text(service: Service) -> None:
    answer = service.client.get(f"/v1/decisions/{decide(service)}/text")
    assert answer.headers["content-type"] == "text/plain; charset=utf-8"
    assert "LEFT LEG: start at mild" in answer.text
    assert "CAUTION" in answer.text


def test_a_decision_is_shown_as_provenance(service: Service) -> None:
    decision_id = decide(service)
    answer = service.client.get(f"/v1/decisions/{decision_id}/provenance").json()
    assert f"limbtier:decision-{decision_id}" in answer["entity"]


def test_a_decision_is_explained_and_nothing_is_stored_by_it(service: Service) -> None:
    decision_id = decide(service)
    size = service.log.size
    answer = service.client.get(f"/v1/decisions/{decision_id}/explanation").json()
    assert answer["kind"] == "explanation"
    assert answer["limbs"]["left"]["why_not_higher"]["held_by"]
    assert answer["answers"]
    assert service.log.size == size


# Replay.


def test_a_replay_is_the_same_and_is_an_entry_of_the_log(service: Service) -> None:
    decision_id = decide(service)
    answer = service.client.post(f"/v1/decisions/{decision_id}/replays")
    assert answer.status_code == 201
    assert answer.json()["same"] is True
    logged = service.log.store.entry_by_id(answer.json()["entry"])
    assert logged is not None
    record = json.loads(logged.data)
    assert (record["kind"], record["decision"], record["same"]) == ("decision_replayed", decision_id, True)


def test_a_replay_without_its_edition_is_a_clear_problem(service: Service, rules: ReadyRules) -> None:
    decision_id = decide(service)
    service.decider.rules = ReadyRules.of([], rules.calendars)
    try:
        answer = service.client.post(f"/v1/decisions/{decision_id}/replays")
        assert problem_of(answer, "edition-unavailable", 409) == [("edition-unavailable", None)]
        assert service.client.get(f"/v1/decisions/{decision_id}").status_code == 200
    finally:
        service.decider.rules = rules


# Retries.


def test_the_same_request_with_the_same_key_is_answered_alike_and_decided_once(service: Service) -> None:
    headers = {"Idempotency-Key": '"5f0c-1"'}
    body = invented("first_contact.json")
    first = service.post("/v1/decisions", body, headers)
    size = service.log.size
    again = service.post("/v1/decisions", body, headers)
    assert (again.status_code, again.content) == (201, first.content)
    assert again.headers["location"] == first.headers["location"]
    assert service.log.size == size


def test_another_request_with_the_same_key_is_refused(service: Service) -> None:
    headers = {"Idempotency-Key": '"5f0c-1"'}
    service.post("/v1/decisions", invented("first_contact.json"), headers)
    size = service.log.size
    answer = service.post("/v1/decisions", invented("both_legs.json"), headers)
    assert problem_of(answer, "idempotency-key-reused", 422) == [("idempotency-key-reused", None)]
    assert service.log.size == size


def test_a_key_counts_for_its_caller_only(service: Service) -> None:
    headers = {"Idempotency-Key": '"5f0c-1"'}
    body = invented("first_contact.json")
    first = service.post("/v1/decisions", body, headers)
    other = bearer(service.keys.make("elsewhere", {"decide"}, "elsewhere"))
    again = service.post("/v1/decisions", body, {**headers, **other})
    assert again.status_code == 201
    assert again.json()["id"] != first.json()["id"]


def test_a_request_that_failed_does_not_use_up_its_key(service: Service) -> None:
    headers = {"Idempotency-Key": '"5f0c-1"'}
    assert service.post("/v1/decisions", b"{}", headers).status_code == 422
    assert service.post("/v1/decisions", invented("first_contact.json"), headers).status_code == 201


def test_an_answer_is_repeated_though_its_edition_is_gone(service: Service, rules: ReadyRules) -> None:
    headers = {"Idempotency-Key": '"5f0c-1"'}
    body = invented("first_contact.json")
    first = service.post("/v1/decisions", body, headers)
    service.decider.rules = ReadyRules.of([], rules.calendars)
    try:
        assert service.post("/v1/decisions", body, headers).content == first.content
    finally:
        service.decider.rules = rules


# Proofs.


def test_a_decision_is_proven_to_stand_in_the_signed_log(service: Service) -> None:
    decision_id = decide(service)
    data = service.client.get(f"/v1/decisions/{decision_id}").content
    proof = service.client.get(f"/v1/decisions/{decision_id}/proof").text
    head, _, note = proof.partition("\n\n")
    kind, index, *hashes = head.splitlines()
    assert kind == "c2sp.org/tlog-proof@v1"
    checkpoint = Checkpoint.read(open_note(note, service.log.verifier_keys).text)
    assert verify_inclusion(
        int(index.removeprefix("index ")),
        checkpoint.size,
        leaf_hash(data),
        [base64.b64decode(one) for one in hashes],
        checkpoint.root,
    )


def test_proofs_over_http_verify(service: Service) -> None:
    for _ in range(5):
        decide(service)
    size = service.log.size
    answer = service.client.get(f"/v1/log/proofs/inclusion?position=1&size={size}").json()
    assert verify_inclusion(
        1,
        size,
        bytes.fromhex(answer["leaf_hash"]),
        [bytes.fromhex(one) for one in answer["hashes"]],
        bytes.fromhex(answer["root"]),
    )
    answer = service.client.get(f"/v1/log/proofs/consistency?old_size=2&size={size}").json()
    assert verify_consistency(
        2,
        size,
        bytes.fromhex(answer["old_root"]),
        bytes.fromhex(answer["root"]),
        [bytes.fromhex(one) for one in answer["hashes"]],
    )


def test_the_checkpoint_covers_the_log_as_it_is(service: Service) -> None:
    decide(service)
    note = service.client.get("/v1/log/checkpoint").text
    keys = service.client.get("/v1/log/keys").text.splitlines()
    assert keys == [str(key) for key in service.log.verifier_keys]
    assert Checkpoint.read(open_note(note, service.log.verifier_keys).text).size == service.log.size


@pytest.mark.parametrize(
    "query",
    [
        "inclusion?position=0",
        "inclusion?position=9&size=3",
        "inclusion?position=0&size=999999",
        "inclusion?position=-1&size=1",
        "consistency?old_size=0&size=1",
        "consistency?old_size=2&size=1",
        "consistency?old_size=1&size=1e3",
    ],
)
def test_a_proof_that_cannot_be_is_a_clear_problem(service: Service, query: str) -> None:
    decide(service)
    answer = service.client.get(f"/v1/log/proofs/{query}")
    codes = {code for code, _ in problem_of(answer, "invalid-query", 422)}
    assert codes <= {"bad-parameter", "no-such-proof"}


def test_only_an_auditor_reads_the_log_or_replays(service: Service) -> None:
    decision_id = decide(service)
    headers = bearer(service.keys.of_role["integrator"])
    size = service.log.size
    for path in ("checkpoint", "keys", "proofs/inclusion?position=0&size=1"):
        answer = service.client.get(f"/v1/log/{path}", headers=headers)
        assert problem_of(answer, "insufficient-scope", 403) == [("insufficient-scope", None)]
    answer = service.client.post(f"/v1/decisions/{decision_id}/replays", headers=headers)
    assert problem_of(answer, "insufficient-scope", 403) == [("insufficient-scope", None)]
    # Each refused act is an entry: who, what, which scope; nothing of the token.
    refused = [json.loads(one.data) for one in service.log.store.entries_from(size, service.log.size)]
    assert [one["kind"] for one in refused] == ["act_refused"] * 4
    assert refused[-1]["act"] == "POST /v1/decisions/{decision_id}/replays"
    assert all(one["needed"] == "audit" for one in refused)
    assert b"lt_" not in orjson.dumps(refused)
