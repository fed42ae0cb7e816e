"""CDS Hooks over HTTP: discovery, cards whose decisions are in the log, and what is refused."""

from __future__ import annotations

import json
import logging
import socket
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2
import orjson
import pytest
from starlette.testclient import TestClient

from limbtier.app import create_app
from limbtier.foundation.settings import Settings
from limbtier.interop.cds_hooks.card_ids import card_id
from limbtier.use_cases.decide import Decider, ReadyRules
from tests.api.service import CHECKOUT, JSON, MOST_BODY_BYTES, Service, bearer, problem_of, start
from tests.support.cds_hooks import (
    PATIENT,
    SELECT,
    VIEW,
    answered,
    assessment,
    call,
    found,
    model_faults,
)
from tests.support.fhir_requests import observation
from tests.support.tokens import Issuer, write_key_set

AT = datetime(2026, 3, 2, 11, 0, tzinfo=UTC)
BOTH_LEGS_AT = datetime(2026, 5, 12, 12, 0, tzinfo=UTC)
BASE = "https://limbtier.quillerbeck.example"
EHR = "https://record.quillerbeck.example/"
PAGE = "https://record.quillerbeck.example"


class Clock:
    """Stands still until a test moves it."""

    def __init__(self) -> None:
        self.moment = AT

    def __call__(self) -> datetime:
        return self.moment


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def service(rules: ReadyRules, clock: Clock) -> Iterator[Service]:
    """A service on the day of the invented contact, reached under an address."""
    made = start(rules, Decider(rules, clock), clock=clock, base_url=BASE, cds_origins=(PAGE,))
    with made.client:
        yield made


def post(service: Service, body: Any, name: str = VIEW) -> httpx2.Response:
    return service.post(f"/cds-services/{name}", body)


def cards(answer: httpx2.Response) -> list[dict[str, Any]]:
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert set(body) == {"cards"}
    listed: list[dict[str, Any]] = body["cards"]
    return listed


def entries(service: Service, kind: str = "decision") -> list[dict[str, Any]]:
    stored = service.log.store.entries_from(0, service.log.size)
    return [orjson.loads(one.data) for one in stored if one.kind == kind]


# Discovery.


def test_discovery_is_open_and_says_what_to_send_along(service: Service, shared_data: Path) -> None:
    answer = service.client.get("/cds-services", headers={"Authorization": ""})
    assert answer.status_code == 200
    assert model_faults(answer.json(), "CDSHooksServices", shared_data) == []
    by_id = {one["id"]: one for one in answer.json()["services"]}
    assert {name: one["hook"] for name, one in by_id.items()} == {
        VIEW: "patient-view",
        SELECT: "order-select",
    }
    for one in by_id.values():
        assert one["prefetch"]["assessment"].startswith(
            "QuestionnaireResponse?patient={{context.patientId}}&"
        )
        assert "/Questionnaire/core&" in one["prefetch"]["assessment"]
        assert one["prefetch"]["observations"].startswith("Observation?patient={{context.patientId}}&code=")
        assert "never asks the client's FHIR server" in one["description"]


# Cards.


@pytest.mark.parametrize("name", [VIEW, SELECT])
def test_the_decision_behind_each_card_is_in_the_log(
    name: str, service: Service, rules: ReadyRules, clock: Clock, shared_data: Path
) -> None:
    clock.moment = BOTH_LEGS_AT
    answer = post(service, call(found(answered(rules, assessment("both_legs"))), name), name)
    shown = cards(answer)
    assert model_faults(answer.json(), "CDSHooksResponse", shared_data) == []
    (decision,) = entries(service)
    assert {one["extension"]["invalid.limbtier.decision"]["decision"] for one in shown} == {decision["id"]}
    assert {one["uuid"] for one in shown} == {card_id(decision["id"], side) for side in ("left", "right")}
    read = service.client.get(f"/v1/decisions/{decision['id']}")
    assert read.json() == decision


def test_a_card_is_the_plain_decision_of_the_same_assessment(service: Service, rules: ReadyRules) -> None:
    contact = assessment()
    del contact["episode"]  # a card is of none
    (card,) = cards(post(service, call(found(answered(rules, contact)))))
    plain = service.post("/v1/previews", contact).json()
    logged = entries(service)[0]
    for one in (plain, logged):
        for member in ("id", "kind", "caller", "decided_at", "received"):
            del one[member]
    assert logged == plain
    leg = plain["limbs"]["left"]
    assert card["summary"] == "Left leg: start compression at mild. Review by 4 March 2026."
    assert leg["review"]["due_on"] == "2026-03-04"
    assert card["indicator"] == "info"
    assert plain["caution"] in card["detail"]
    rested = {held["rule"] for held in leg["limits"] if held["at_tier_given"]}
    assert set(card["extension"]["invalid.limbtier.decision"]["rules"]) == rested
    assert card["source"] == {
        "label": f"limbtier, edition {plain['edition']['id']}",
        "url": f"{BASE}/v1/editions/{plain['edition']['id']}",
        "topic": {
            "code": "lower-limb-compression",
            "system": "https://limbtier.invalid/fhir/CodeSystem/limbtier-card-topic",
            "display": "Compression of the lower leg",
        },
    }
    assert service.client.get(card["source"]["url"].removeprefix(BASE)).status_code == 200


def test_one_response_alone_is_taken_like_the_answer_to_the_query(
    service: Service, rules: ReadyRules
) -> None:
    response = answered(rules, assessment())
    assert (
        cards(post(service, call(response)))[0]["summary"]
        == (cards(post(service, call(found(response))))[0]["summary"])
    )


def test_a_danger_sign_comes_first_and_is_critical_and_the_other_leg_waits(
    service: Service, rules: ReadyRules, clock: Clock
) -> None:
    clock.moment = BOTH_LEGS_AT
    contact = assessment("both_legs")
    contact["limbs"]["right"]["suspected_dvt"] = True
    first, second = cards(post(service, call(found(answered(rules, contact)))))
    assert first["summary"].startswith("Right leg: DANGER SIGN.")
    assert (first["indicator"], second["indicator"]) == ("critical", "warning")
    assert second["summary"] == "Left leg: put nothing new on today; act on the danger sign first."
    assert "Put nothing new on the other leg today" in second["detail"]


def test_an_old_assessment_is_not_acted_on_but_a_danger_sign_stays_one(
    service: Service, rules: ReadyRules, clock: Clock
) -> None:
    clock.moment = AT + timedelta(days=60)
    (card,) = cards(post(service, call(found(answered(rules, assessment())))))
    assert card["summary"] == (
        "Left leg: the review was due by 4 March 2026. Assess again before any compression."
    )
    assert card["indicator"] == "warning"
    assert "do not act on it today" in card["detail"]
    (card,) = cards(post(service, call(found(answered(rules, assessment(suspected_dvt=True))))))
    assert card["indicator"] == "critical"
    assert card["summary"].startswith("Left leg: DANGER SIGN.")
    assert "do not act on it today" in card["detail"]


def test_nothing_that_names_people_is_kept_or_shown(
    service: Service, rules: ReadyRules, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    answer = post(service, call(found(answered(rules, assessment()))))
    kept = b"".join(one.data for one in service.log.store.entries_from(0, service.log.size))
    files = Path(str(service.log.store.database.file)).parent
    raw = b"".join(one.read_bytes() for one in files.glob("log.sqlite3*"))
    for secret in ("secret-of-the-client", "Invented", "invented-nurse", "fhir.invented.example", "qr-1"):
        assert secret.encode() not in kept
        assert secret.encode() not in raw
        assert secret not in caplog.text
        assert secret not in answer.text
    assert PATIENT.encode() not in kept  # it is named in the drafts of the answer alone
    assert f"Patient/{PATIENT}" in answer.text


def test_nothing_is_ever_fetched(
    service: Service, rules: ReadyRules, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise AssertionError("the service opened a connection")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    for server in ("http://169.254.169.254/", "file:///etc/passwd", "https://x@[::1]:99999/", "\\\\host\\x"):
        body = call(found(answered(rules, assessment()), more_pages=True), fhirServer=server)
        assert cards(post(service, body))


def test_a_chart_that_is_opened_again_is_no_further_contact_of_an_episode(
    service: Service, rules: ReadyRules
) -> None:
    response = answered(rules, assessment())
    response["subject"]["identifier"] = {"system": "https://limbtier.invalid/fhir/episode", "value": "ep-x-1"}
    for _ in range(2):
        assert cards(post(service, call(found(response))))
    assert ["episode" in json.loads(one["received"]) for one in entries(service)] == [False, False]


# Observations.


def test_observations_of_the_day_answer_what_the_form_left_open(service: Service, rules: ReadyRules) -> None:
    contact = assessment()
    del contact["limbs"]["left"]["ankle_girth_cm"]
    response = answered(rules, contact)
    girth = observation("ankle_girth", 27.5, "cm", "2026-03-02", "left_leg")
    other_day = observation("ankle_girth", 40, "cm", "2026-02-01", "left_leg")
    weight = {**observation("ankle_girth", 80, "kg", "2026-03-02"), "code": {"text": "Weight"}}
    named = {**girth, "subject": {"reference": f"Patient/{PATIENT}"}, "performer": [{"display": "Corin"}]}
    body = call(found(response))
    body["prefetch"]["observations"] = found(weight, named, other_day)
    cards(post(service, body))
    assert json.loads(entries(service)[0]["received"])["limbs"]["left"]["ankle_girth_cm"] == 27.5


def test_observations_that_contradict_or_are_of_somebody_else_are_refused_with_their_place(
    service: Service, rules: ReadyRules
) -> None:
    girth = observation("ankle_girth", 30, "cm", "2026-03-02", "left_leg")
    body = call(found(answered(rules, assessment())))
    body["prefetch"]["observations"] = found(
        observation("ankle_girth", 40, "cm", "2026-02-01", "left_leg"), girth
    )
    place = "#/prefetch/observations/entry/1/resource"
    assert problem_of(post(service, body), "invalid-assessment", 422) == [("conflicting-answers", place)]
    girth["subject"] = {"reference": "Patient/another"}
    place = "#/prefetch/observations/entry/1/resource/subject/reference"
    body["prefetch"]["observations"]["entry"][1]["resource"] = girth
    assert problem_of(post(service, body), "invalid-hook-request", 422) == [("other-patient", place)]
    assert entries(service) == []


@pytest.mark.parametrize(
    ("days", "whole"),
    [(["2026-03-02", "2026-02-27"], True), (["2026-03-02"], False), (["2026-02-27", "2026-03-02"], False)],
)
def test_a_page_of_observations_counts_only_where_it_reaches_back_beyond_the_day(
    days: list[str], whole: bool, service: Service, rules: ReadyRules
) -> None:
    body = call(found(answered(rules, assessment())))
    listed = [observation("ankle_girth", 27.5, "cm", day, "left_leg") for day in days]
    body["prefetch"]["observations"] = found(*listed, more_pages=True)
    answer = post(service, body)
    if whole:
        assert cards(answer)
    else:
        place = "#/prefetch/observations"
        assert problem_of(answer, "prefetch-missing", 412) == [("prefetch-missing", place)]


# What is missing.


@pytest.mark.parametrize("assessed", [None, found()])
def test_without_an_assessment_a_chart_is_silent_and_an_order_is_warned_about(
    assessed: Any, service: Service, shared_data: Path
) -> None:
    assert cards(post(service, call(assessed))) == []
    answer = post(service, call(assessed, SELECT), SELECT)
    (card,) = cards(answer)
    assert model_faults(answer.json(), "CDSHooksResponse", shared_data) == []
    assert card["summary"] == "No assessment of the lower legs was found: no tier can be recommended."
    assert card["indicator"] == "warning"
    assert "uuid" not in card
    assert "licensed clinician" in card["detail"]
    assert entries(service) == []


OUTCOME = {"resourceType": "OperationOutcome", "issue": [{"severity": "error", "code": "forbidden"}]}


@pytest.mark.parametrize(
    ("prefetch", "place"),
    [
        ({}, ""),
        ({"other": None}, ""),
        ({"assessment": OUTCOME}, ""),
        ({"assessment": {"resourceType": "OperationOutcome"}}, ""),
        ({"assessment": found(OUTCOME)}, "/entry/0/resource"),
    ],
)
def test_what_cannot_be_had_is_told_and_not_fetched(
    prefetch: dict[str, Any], place: str, service: Service
) -> None:
    for name in (VIEW, SELECT):
        answer = post(service, call(None, name, prefetch=prefetch), name)
        pointer = f"#/prefetch/assessment{place}"
        assert problem_of(answer, "prefetch-missing", 412) == [("prefetch-missing", pointer)]
        assert "never asks" in answer.json()["errors"][0]["help"]
    answer = post(service, {name: value for name, value in call(None).items() if name != "prefetch"})
    assert answer.status_code == 412


def test_the_newest_assessment_decides(service: Service, rules: ReadyRules) -> None:
    new, old = assessment(), {**assessment(suspected_dvt=True), "assessed_at": "2026-02-20T09:00:00+00:00"}
    unfinished = {
        **answered(rules, {**new, "assessed_at": "2026-03-02T10:00:00+00:00"}),
        "status": "in-progress",
    }
    for listed in ([new, old], [old, new]):
        resources = [answered(rules, one) for one in listed]
        (card,) = cards(post(service, call(found(unfinished, *resources))))
        assert "DANGER" not in card["summary"]


def test_a_page_that_may_lack_the_newest_is_not_enough(service: Service, rules: ReadyRules) -> None:
    new, old = assessment(), {**assessment(), "assessed_at": "2026-02-20T09:00:00+00:00"}
    newest_first = [answered(rules, new), answered(rules, old)]
    assert cards(post(service, call(found(*newest_first, more_pages=True))))
    unfinished = {**newest_first[0], "status": "in-progress"}
    for page in (
        found(*reversed(newest_first), more_pages=True),
        found(unfinished, more_pages=True),
        found(newest_first[0], newest_first[0]),
    ):
        assert post(service, call(page)).status_code == 412
    assert cards(post(service, call(found(unfinished)))) == []


# What is wrong.


def test_an_assessment_of_another_patient_is_refused(service: Service, rules: ReadyRules) -> None:
    for reference in (
        "Patient/another",
        "https://fhir.invented.example/r4/Patient/another",
        "Patient/another/_history/2",
    ):
        response = {**answered(rules, assessment()), "subject": {"reference": reference}}
        place = "#/prefetch/assessment/entry/0/resource/subject/reference"
        answer = post(service, call(found(response)))
        assert problem_of(answer, "invalid-hook-request", 422) == [("other-patient", place)]
    response = {
        **answered(rules, assessment()),
        "subject": {"reference": f"https://x.example/Patient/{PATIENT}"},
    }
    assert cards(post(service, call(found(response))))


def test_bad_answers_are_named_where_they_stand_in_the_call(service: Service, rules: ReadyRules) -> None:
    contact = assessment(pain_score=77, wound="blister")
    answer = post(service, call(found(answered(rules, contact))))
    places = dict(problem_of(answer, "invalid-assessment", 422))
    assert set(places) == {"out-of-range", "unknown-choice"}
    for place in places.values():
        assert place is not None
        assert place.startswith("#/prefetch/assessment/entry/0/resource/item/")
        value: Any = call(found(answered(rules, contact)))
        for step in place.removeprefix("#/").split("/"):
            value = value[int(step)] if isinstance(value, list) else value[step]
    assert entries(service) == []


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"status": "entered-in-error"}, None),
        ({"questionnaire": "https://limbtier.invalid/fhir/Questionnaire/core"}, "unknown-questionnaire"),
        ({"questionnaire": "https://elsewhere.example/q|1"}, "unknown-questionnaire"),
        ({"modifierExtension": [{"url": "x"}]}, "modifier-not-known"),
        ({"implicitRules": "https://x.example/"}, "modifier-not-known"),
    ],
)
def test_a_response_that_could_mean_something_else_is_not_decided(
    change: dict[str, Any], code: str | None, service: Service, rules: ReadyRules
) -> None:
    answer = post(service, call(found({**answered(rules, assessment()), **change})))
    if code is None:
        assert cards(answer) == []
    else:
        assert code in dict(problem_of(answer, "invalid-assessment", 422))
    assert entries(service) == []


@pytest.mark.parametrize(
    "assessed",
    [
        7,
        [],
        {"resourceType": "Patient"},
        {},
        {"resourceType": "Bundle", "entry": 7},
        {"resourceType": "Bundle", "entry": [7]},
        {"resourceType": "Bundle", "entry": [{}]},
        {"resourceType": "Bundle", "entry": [{"resource": {"resourceType": "Patient"}}]},
    ],
)
def test_what_is_no_answer_to_the_query_is_refused(assessed: Any, service: Service) -> None:
    places = problem_of(post(service, call(assessed)), "invalid-hook-request", 422)
    assert all(place is not None and place.startswith("#/prefetch/assessment") for _, place in places)


@pytest.mark.parametrize(
    ("authored", "code"),
    [
        ("2026-03-03T00:00:01+00:00", "future-date"),
        ("0001-01-01T00:00:00+14:00", "wrong-type"),
        ("9999-12-31T23:59:59-14:00", "wrong-type"),
        ("2026-03-02", "wrong-type"),
        ("2026-03-02T09:30:00", "wrong-type"),
        ("yesterday", "wrong-type"),
        (7, "wrong-type"),
    ],
)
def test_a_moment_that_cannot_be_is_refused(
    authored: Any, code: str, service: Service, rules: ReadyRules
) -> None:
    response = {**answered(rules, assessment()), "authored": authored}
    place = "#/prefetch/assessment/entry/0/resource/authored"
    answer = post(service, call(found(response)))
    assert problem_of(answer, "invalid-hook-request", 422) == [(code, place)]


def test_an_observation_of_no_day_is_of_another_day(service: Service, rules: ReadyRules) -> None:
    body = call(found(answered(rules, assessment())))
    days: list[Any] = ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "never", 7, "2026"]
    listed = [observation("ankle_girth", 40, "cm", day, "left_leg") for day in days]
    body["prefetch"]["observations"] = found(*listed)
    assert cards(post(service, body))


def test_resources_may_be_nested_deeper_than_an_assessment(service: Service, rules: ReadyRules) -> None:
    response = answered(rules, assessment())
    item = response["item"][1]["item"][0]["item"][0]
    item["extension"] = [
        {"url": "x", "extension": [{"url": "y", "extension": [{"url": "z", "valueCode": "a"}]}]}
    ]
    assert cards(post(service, call(found(response))))
    deep: Any = "x"
    for _ in range(40):
        deep = [deep]
    assert post(service, call(found(response), extension=deep)).status_code == 400


def test_an_unknown_service_and_a_huge_body_are_refused(service: Service, rules: ReadyRules) -> None:
    body = call(found(answered(rules, assessment())))
    answer = service.post("/cds-services/limbtier-patient-vew", body)
    assert problem_of(answer, "not-found", 404) == [("unknown-service", None)]
    assert "Did you mean `limbtier-patient-view`?" in answer.text
    body["padding"] = "x" * (4 * MOST_BODY_BYTES)
    assert problem_of(post(service, body), "body-too-large", 413) == [("body-too-large", None)]
    assert post(service, b'{"hook": 1, "hook": 2}').status_code == 400


def test_nobody_calls_without_a_token_that_may_decide(service: Service, rules: ReadyRules) -> None:
    body = orjson.dumps(call(found(answered(rules, assessment()))))
    reader = service.keys.of_role["auditor"]
    for path in (f"/cds-services/{VIEW}", "/cds-services/nothing", f"/cds-services/{VIEW}/feedback"):
        headers = {"Content-Type": "application/json", "Authorization": ""}
        assert service.client.post(path, content=body, headers=headers).status_code == 401
        headers |= bearer(reader)
        assert service.client.post(path, content=body, headers=headers).status_code == 403
    assert entries(service) == []


# Clients with tokens of their own.


class Client:
    """A client on the list of a service of its own."""

    def __init__(self, folder: Path, rules: ReadyRules, clock: Clock) -> None:
        self.issuer = Issuer()
        self.clock = clock
        self.count = 0
        write_key_set(folder / "keys.json", self.issuer.public_key())
        client = {"issuer": EHR, "keys": "keys.json", "organisation": "quillerbeck"}
        (folder / "clients.json").write_text(json.dumps({"clients": [client]}))
        self.service = start(
            rules,
            Decider(rules, clock),
            clock=clock,
            base_url=BASE,
            cds_clients=folder / "clients.json",
            cds_origins=(PAGE,),
        )

    def token(self, path: str, **changes: Any) -> str:
        self.count += 1
        seconds = int(self.clock.moment.timestamp())
        claims = {
            "iss": EHR,
            "aud": BASE + path,
            "iat": seconds,
            "exp": seconds + 300,
            "jti": f"call-{self.count}",
            **changes,
        }
        return self.issuer.token(claims, typ="JWT")

    def post(self, path: str, body: Any, token: str) -> httpx2.Response:
        return self.service.post(path, body, bearer(token))


@pytest.fixture
def client(tmp_path: Path, rules: ReadyRules, clock: Clock) -> Iterator[Client]:
    made = Client(tmp_path, rules, clock)
    with made.service.client:
        yield made


def test_a_client_calls_with_its_own_token_and_tells_what_happened(client: Client, rules: ReadyRules) -> None:
    path = f"/cds-services/{VIEW}"
    body = call(found(answered(rules, assessment())))
    (card,) = cards(client.post(path, body, client.token(path)))
    (decision,) = entries(client.service)
    assert decision["caller"] == {"id": f"client:{EHR}", "organisation": "quillerbeck"}
    told = {
        "feedback": [
            {"card": card["uuid"], "outcome": "overridden", "outcomeTimestamp": "2026-03-02T11:01:00Z"}
        ]
    }
    answer = client.post(f"{path}/feedback", told, client.token(f"{path}/feedback"))
    assert answer.json() == {"kept": 1, "kept_before": 0}
    assert len(entries(client.service, "card_feedback")) == 1


def test_a_local_key_is_taken_beside_the_tokens_of_clients(client: Client, rules: ReadyRules) -> None:
    assert cards(post(client.service, call(found(answered(rules, assessment())))))


def test_tokens_for_another_address_or_purpose_are_refused(client: Client, rules: ReadyRules) -> None:
    path = f"/cds-services/{VIEW}"
    body = call(found(answered(rules, assessment())))
    refused = [
        (path, client.token(f"{path}/feedback")),
        (path, client.token(f"/cds-services/{SELECT}")),
        (f"{path}/feedback", client.token(path)),
        ("/v1/previews", client.token("/v1/previews")),
        (path, client.token(path, exp=int(AT.timestamp()) - 31)),
        (path, client.token(path, iss="https://elsewhere.example/")),
    ]
    for where, token in refused:
        answer = client.post(where, body, token)
        assert answer.status_code == 401
        assert answer.json()["type"] == "/problems/unauthorised"
        assert token not in answer.text
    assert entries(client.service) == []


def test_a_token_makes_one_decision_also_across_workers(
    client: Client, rules: ReadyRules, tmp_path: Path, clock: Clock
) -> None:
    path = f"/cds-services/{VIEW}"
    body = call(found(answered(rules, assessment())))
    token = client.token(path)
    assert cards(client.post(path, body, token))
    assert client.post(path, body, token).status_code == 401
    # Another worker remembers nothing of it; the log they share does.
    log = client.service.log
    settings = Settings(
        rules=CHECKOUT / "rules",
        database=str(log.store.database.file),
        log_keys=Path(str(log.store.database.file)).parent / "keys",
        most_body_bytes=MOST_BODY_BYTES,
        base_url=BASE,
        cds_clients=tmp_path / "clients.json",
    )
    other = TestClient(create_app(Decider(rules, clock), log, client.service.authoriser, settings, clock))
    answer = other.post(path, content=orjson.dumps(body), headers={**JSON, **bearer(token)})
    assert answer.status_code == 401
    assert problem_of(answer, "unauthorised", 401) == [("token-refused", None)]
    assert len(entries(client.service)) == 1


# Browsers.


def test_pages_of_listed_origins_alone_may_call_and_only_these_services(client: Client) -> None:
    ask = {"Origin": PAGE, "Access-Control-Request-Method": "POST"}
    answer = client.service.client.options(f"/cds-services/{VIEW}", headers=ask)
    assert answer.status_code == 204
    assert answer.headers["access-control-allow-origin"] == PAGE
    assert answer.headers["access-control-allow-headers"] == "authorization, content-type"
    assert "access-control-allow-credentials" not in answer.headers
    shown = client.service.client.get("/cds-services", headers={"Origin": PAGE})
    assert (shown.headers["access-control-allow-origin"], shown.headers["vary"]) == (PAGE, "Origin")
    refused = client.service.client.get("/cds-services/none", headers={"Origin": PAGE})
    assert refused.headers["access-control-allow-origin"] == PAGE  # so that the page can read why
    for path, origin in [
        ("/cds-services", "https://elsewhere.example"),
        ("/cds-services", f"{PAGE}.elsewhere.example"),
        ("/cds-services", "null"),
        ("/health/live", PAGE),
        ("/cds-servicesx", PAGE),
    ]:
        for method in ("GET", "OPTIONS"):
            headers = {**ask, "Origin": origin}
            other = client.service.client.request(method, path, headers=headers)
            assert "access-control-allow-origin" not in other.headers
    assert "vary" not in client.service.client.get("/health/live").headers


def test_no_page_may_call_where_no_origin_is_listed(shared_service: Service) -> None:
    ask = {"Origin": PAGE, "Access-Control-Request-Method": "POST"}
    for method in ("GET", "OPTIONS"):
        answer = shared_service.client.request(method, "/cds-services", headers=ask)
        assert not [name for name in answer.headers if name.startswith("access-control-")]
