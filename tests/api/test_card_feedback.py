"""Feedback on cards: what is kept of it, what never is, and what it comes to."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
import pytest

from limbtier.cli import main
from limbtier.foundation.canonical_json import is_canonical
from limbtier.use_cases.decide import ReadyRules
from tests.api.service import Service, bearer, problem_of, start
from tests.support.cds_hooks import SPECIFICATION, VIEW, answered, assessment, call, found

SYSTEM = "https://limbtier.invalid/fhir/CodeSystem/limbtier-override-reason"
PATH = f"/cds-services/{VIEW}/feedback"
AT = "2026-03-02T11:05:00Z"


@pytest.fixture
def service(rules: ReadyRules) -> Iterator[Service]:
    made = start(rules)
    with made.client:
        yield made


def card_of(service: Service, rules: ReadyRules, **danger: Any) -> dict[str, Any]:
    answer = service.post(f"/cds-services/{VIEW}", call(found(answered(rules, assessment(**danger)))))
    card: dict[str, Any] = answer.json()["cards"][0]
    return card


def overridden(card: dict[str, Any], code: str | None = "local_policy", **more: Any) -> dict[str, Any]:
    entry = {"card": card["uuid"], "outcome": "overridden", "outcomeTimestamp": AT, **more}
    if code is not None:
        entry["overrideReason"] = {"reason": {"code": code, "system": SYSTEM}}
    return entry


def accepted(card: dict[str, Any], at: str = AT) -> dict[str, Any]:
    chosen = [{"id": card["suggestions"][0]["uuid"]}]
    return {
        "card": card["uuid"],
        "outcome": "accepted",
        "acceptedSuggestions": chosen,
        "outcomeTimestamp": at,
    }


def kept(service: Service) -> list[dict[str, Any]]:
    stored = list(service.log.store.entries_from(0, service.log.size))
    assert all(is_canonical(one.data) for one in stored)
    return [orjson.loads(one.data) for one in stored if one.kind == "card_feedback"]


def summary(service: Service, query: str = "", token: str | None = None) -> dict[str, Any]:
    headers = {} if token is None else bearer(token)
    answer = service.client.get(f"/v1/feedback/summary{query}", headers=headers)
    assert answer.status_code == 200, answer.text
    body: dict[str, Any] = answer.json()
    return body


def test_feedback_is_kept_with_its_decision_and_without_its_comment(
    service: Service, rules: ReadyRules
) -> None:
    card = card_of(service, rules)
    entry = overridden(card)
    entry["overrideReason"]["userComment"] = "Mrs Invented told me on the telephone"
    answer = service.post(PATH, {"feedback": [entry]})
    assert (answer.status_code, answer.json()) == (200, {"kept": 1, "kept_before": 0})
    (found_entry,) = kept(service)
    rests_on = card["extension"]["invalid.limbtier.decision"]
    assert {
        name: found_entry[name] for name in ("card", "decision", "leg", "outcome", "outcome_at", "reason")
    } == {
        "card": card["uuid"],
        "decision": rests_on["decision"],
        "leg": "left",
        "outcome": "overridden",
        "outcome_at": "2026-03-02T11:05:00+00:00",
        "reason": "local_policy",
    }
    assert found_entry["rules"] == rests_on["rules"]
    assert "telephone" not in json.dumps(found_entry)
    files = Path(str(service.log.store.database.file)).parent
    assert b"telephone" not in b"".join(one.read_bytes() for one in files.glob("log.sqlite3*"))


def test_feedback_that_is_sent_again_is_kept_once(service: Service, rules: ReadyRules) -> None:
    card = card_of(service, rules)
    entry = overridden(card)
    assert service.post(PATH, {"feedback": [entry, entry]}).json() == {"kept": 1, "kept_before": 1}
    assert service.post(PATH, {"feedback": [entry]}).json() == {"kept": 0, "kept_before": 1}
    later = {**accepted(card), "outcomeTimestamp": "2026-03-02T12:00:00+01:00"}
    assert service.post(PATH, {"feedback": [later]}).json() == {"kept": 1, "kept_before": 0}
    assert len(kept(service)) == 2


def test_a_reason_of_the_clients_own_is_kept_as_other(service: Service, rules: ReadyRules) -> None:
    entry = overridden(card_of(service, rules))
    entry["overrideReason"]["reason"] = {"code": "he said no", "system": "https://record.example/reasons"}
    service.post(PATH, {"feedback": [entry]})
    assert kept(service)[0]["reason"] == "other"
    assert summary(service)["reasons"] == {"other": 1}


@pytest.mark.parametrize(
    ("change", "found_codes"),
    [
        ({"card": None}, [("missing-field", "#/feedback/0/card")]),
        ({"card": 7}, [("wrong-type", "#/feedback/0/card")]),
        ({"card": "4e0a3a1e-3283-4575-ab82-028d55fe2719"}, [("unknown-card", "#/feedback/0/card")]),
        ({"card": "4e0a3a1e-3283-8575-ab82-028d55fe2719"}, [("unknown-card", "#/feedback/0/card")]),
        ({"outcome": "ignored"}, [("unknown-choice", "#/feedback/0/outcome")]),
        ({"outcome": None}, [("missing-field", "#/feedback/0/outcome")]),
        ({"outcome": "accepted"}, [("missing-field", "#/feedback/0/acceptedSuggestions")]),
        ({"outcomeTimestamp": None}, [("missing-field", "#/feedback/0/outcomeTimestamp")]),
        ({"outcomeTimestamp": "yesterday"}, [("bad-format", "#/feedback/0/outcomeTimestamp")]),
        (
            {"outcomeTimestamp": "2026-02-30T09:00:00Z"},
            [("impossible-date", "#/feedback/0/outcomeTimestamp")],
        ),
        ({"outcomeTimestamp": "2026-03-02T09:00:00"}, [("bad-format", "#/feedback/0/outcomeTimestamp")]),
        ({"overrideReason": 7}, [("wrong-type", "#/feedback/0/overrideReason")]),
        (
            {"overrideReason": {"reason": {"code": "local_polcy", "system": SYSTEM}}},
            [("unknown-choice", "#/feedback/0/overrideReason/reason/code")],
        ),
        ({"overrideReason": {"reason": "x"}}, [("wrong-type", "#/feedback/0/overrideReason/reason")]),
        (
            {"overrideReason": {"userComment": 7}},
            [("wrong-type", "#/feedback/0/overrideReason/userComment")],
        ),
    ],
)
def test_feedback_with_a_fault_is_refused_by_name_and_nothing_of_it_kept(
    change: dict[str, Any], found_codes: list[tuple[str, str]], service: Service, rules: ReadyRules
) -> None:
    card = card_of(service, rules)
    bad = {name: value for name, value in {**overridden(card), **change}.items() if value is not None}
    answer = service.post(PATH, {"feedback": [bad, overridden(card)]})
    assert problem_of(answer, "invalid-feedback", 422) == found_codes
    assert kept(service) == []


@pytest.mark.parametrize("body", [{}, [], {"feedback": []}, {"feedback": 7}, {"feedback": [7] * 101}])
def test_what_is_no_feedback_is_refused(body: Any, service: Service) -> None:
    places = problem_of(service.post(PATH, body), "invalid-feedback", 422)
    assert [place for _, place in places] == ["#/feedback"]


# The feedback that the specification prints as examples (CDS Hooks 2.0): its cards are not ours.
@pytest.mark.parametrize("number", ["18", "19", "20"])
def test_the_published_feedback_is_read_and_its_cards_are_unknown(
    number: str, service: Service, shared_data: Path
) -> None:
    body = (shared_data / SPECIFICATION / f"2.0_{number}_feedback.json").read_bytes()
    assert problem_of(service.post(PATH, body), "invalid-feedback", 422) == [
        ("unknown-card", "#/feedback/0/card")
    ]


def test_nobody_tells_of_or_reads_cards_of_another_organisation(service: Service, rules: ReadyRules) -> None:
    card = card_of(service, rules)
    elsewhere = bearer(service.keys.make("integrator", {"decide", "audit"}, "threllmere"))
    answer = service.post(PATH, {"feedback": [overridden(card)]}, elsewhere)
    assert problem_of(answer, "invalid-feedback", 422) == [("unknown-card", "#/feedback/0/card")]
    service.post(PATH, {"feedback": [overridden(card)]})
    token = service.keys.make("auditor", {"audit"}, "threllmere")
    assert summary(service, token=token)["cards"] == 0
    assert summary(service)["cards"] == 1


def test_the_summary_counts_cards_by_rule_and_reason_with_their_latest_outcome(
    service: Service, rules: ReadyRules
) -> None:
    first, second, third = card_of(service, rules), card_of(service, rules), card_of(service, rules)
    stopped = card_of(service, rules, suspected_dvt=True)
    service.post(
        PATH,
        {
            "feedback": [
                overridden(first, "person_declines"),
                overridden(second, "person_declines"),
                accepted(second, "2026-03-02T12:00:00Z"),
                overridden(third, None),
                accepted(stopped),
            ]
        },
    )
    body = summary(service)
    assert (body["cards"], body["accepted"], body["overridden"]) == (4, 2, 2)
    assert body["reasons"] == {"not_given": 1, "person_declines": 1}
    by_rule = {one["rule"]: one for one in body["rules"]}
    rested = first["extension"]["invalid.limbtier.decision"]["rules"]
    assert {(by_rule[name]["cards"], by_rule[name]["overridden"]) for name in rested} == {(3, 2)}
    alone = set(stopped["extension"]["invalid.limbtier.decision"]["rules"]) - set(rested)
    assert {(by_rule[name]["cards"], by_rule[name]["overridden"]) for name in alone} == {(1, 0)}
    assert body["rules"][0]["overridden"] == 2
    assert body["reason_words"]["person_declines"] == "The person declines"
    since = summary(service, "?since=2026-03-02T11:30:00Z")
    assert (since["cards"], since["accepted"]) == (1, 1)
    before = summary(service, "?before=2026-03-02T11:30:00Z")
    assert (before["cards"], before["accepted"]) == (4, 1)


def test_the_summary_is_for_auditors_and_editors_and_takes_moments_only(service: Service) -> None:
    for role, status in (("auditor", 200), ("editor", 200), ("integrator", 403), ("approver", 403)):
        headers = bearer(service.keys.of_role[role])
        assert service.client.get("/v1/feedback/summary", headers=headers).status_code == status
    answer = service.client.get("/v1/feedback/summary?since=yesterday&before=2026-02-30T09:00:00Z")
    assert problem_of(answer, "invalid-query", 422) == [("bad-parameter", None), ("impossible-date", None)]


def test_the_command_shows_the_same_summary(
    service: Service,
    rules: ReadyRules,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    card = card_of(service, rules)
    service.post(PATH, {"feedback": [overridden(card)]})
    monkeypatch.setenv("LIMBTIER_DATABASE", str(service.log.store.database.file))
    assert main(["feedback", "--organisation", "quillerbeck"]) == 0
    shown = capsys.readouterr().out
    assert "1 cards, 0 accepted, 1 overridden" in shown
    assert "Local policy says otherwise" in shown
    assert main(["feedback", "--organisation", "quillerbeck", "--json"]) == 0
    assert orjson.loads(capsys.readouterr().out) == summary(service)
