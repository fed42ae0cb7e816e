"""Who is let in over HTTP, what each caller may, and what is told to those who may not."""

from __future__ import annotations

import asyncio
import logging
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import orjson
import pytest
from fastapi import FastAPI, Request
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from limbtier.api.bearer import ANY_SCOPE, Access, bearer_token
from limbtier.api.problem_responses import add_problem_handlers
from limbtier.domain.caller import AUDIT, ROLES, SCOPES, Caller
from limbtier.interop.bearer_tokens import LONGEST_TOKEN, TokenRefused
from limbtier.use_cases.authorise import Authoriser
from limbtier.use_cases.decide import ReadyRules
from tests.api.service import Service, bearer, first_contact, invented, problem_of, start
from tests.support.keys import KeysInMemory, id_of
from tests.support.tokens import NOW, Issuer, claims, reader, write_key_set

OPEN = {
    "GET /health/live",
    "GET /health/ready",
    "GET /metrics",
    "GET /openapi.json",
    "GET /docs",
    "GET /docs/integrators",
    "GET /problems",
    "GET /problems/{code}",
    "GET /cds-services",
}
REALM = 'Bearer realm="limbtier"'
REFUSED = f'{REALM}, error="invalid_token", error_description="The token is not accepted."'


@pytest.fixture
def stranger(shared_service: Service) -> TestClient:
    """A client that carries no token."""
    return TestClient(shared_service.app)


@pytest.fixture(scope="module")
def issuer() -> Issuer:
    return Issuer()


@pytest.fixture(scope="module")
def with_issuer(
    rules: ReadyRules, issuer: Issuer, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Service]:
    file = tmp_path_factory.mktemp("keys") / "keys.json"
    service = start(rules, tokens=reader(write_key_set(file, issuer.public_key())))
    with service.client:
        yield service


def described(service: Service) -> Iterator[tuple[str, str, list[str]]]:
    """Every operation of the description: method, an address of it, and the scopes of which it needs one."""
    document = service.client.get("/openapi.json").json()
    for path, item in document["paths"].items():
        for method, operation in item.items():
            needed = [scope for one in operation.get("security", []) for scope in one["token"]]
            yield method.upper(), path, needed


def address(path: str) -> str:
    """An address of a route, which need not lead to anything."""
    return re.sub(r"\{[a-z_]+\}", "00000000-0000-4000-8000-000000000000", path)


# What is open, and what every other resource needs.


def test_nothing_but_health_and_documentation_is_open(shared_service: Service, stranger: TestClient) -> None:
    seen = set()
    for method, path, needed in described(shared_service):
        seen.add(f"{method} {path}")
        answer = stranger.request(method, address(path))
        if f"{method} {path}" in OPEN:
            assert needed == []
            assert answer.status_code not in (401, 403), path
        else:
            assert needed, path
            assert problem_of(answer, "unauthorised", 401) == [("no-token", None)]
            assert answer.headers["www-authenticate"] == REALM
    assert seen > OPEN
    for file in ("page.js", "page.css", "start.js", "icon.png"):
        assert stranger.get(f"/docs/{file}").status_code == 200


def test_each_role_may_what_the_description_says_and_nothing_else(shared_service: Service) -> None:
    keys = shared_service.keys.of_role
    compared = 0
    for method, path, needed in described(shared_service):
        for role, key in keys.items():
            answer = shared_service.client.request(method, address(path), headers=bearer(key))
            allowed = not needed or not ROLES[role].isdisjoint(needed)
            assert (answer.status_code not in (401, 403)) == allowed, (method, path, role)
            compared += 1
            if not allowed:
                problem_of(answer, "insufficient-scope", 403)
                assert answer.headers["www-authenticate"] == (
                    f'{REALM}, error="insufficient_scope", scope="{" ".join(needed)}"'
                )
    assert compared >= 4 * 12


@pytest.mark.parametrize(
    ("method", "path", "scopes"),
    [
        ("POST", "/v1/previews", {"decide"}),
        ("POST", "/v1/decisions", {"decide"}),
        ("GET", "/v1/decisions/{decision_id}", {"read"}),
        ("GET", "/v1/vocabulary", set(ANY_SCOPE)),
        ("GET", "/v1/editions", set(ANY_SCOPE)),
        ("GET", "/v1/editions/{edition}", set(ANY_SCOPE)),
        ("GET", "/v1/editions/{edition}/rules", set(ANY_SCOPE)),
    ],
)
def test_the_scope_of_a_resource_is_the_one_that_was_decided(
    shared_service: Service, method: str, path: str, scopes: set[str]
) -> None:
    assert [
        set(needed) for how, where, needed in described(shared_service) if (how, where) == (method, path)
    ] == [scopes]


def test_without_the_scope_nothing_is_decided_stored_or_read(service: Service) -> None:
    body = invented("first_contact.json")
    for role in ("editor", "approver", "auditor"):
        for path in ("/v1/previews", "/v1/decisions"):
            answer = service.post(path, body, bearer(service.keys.of_role[role]))
            assert problem_of(answer, "insufficient-scope", 403) == [("insufficient-scope", None)]
            assert "`decide`" in answer.text
            assert "tier" not in answer.json()
    # Each refused act is in the log, and nothing else is.
    kinds = [entry.kind for entry in service.log.store.entries_from(0, service.log.size)]
    assert kinds == ["act_refused"] * 6


def test_a_token_is_looked_at_before_anything_else_of_a_request(stranger: TestClient) -> None:
    answers = [
        stranger.post("/v1/decisions", content=b"nonsense"),
        stranger.post("/v1/decisions?x=1", content=b"{}" * 100_000),
        stranger.get("/v1/vocabulary?edition=core-2999.1.0"),
        stranger.get("/v1/editions/core-2999.1.0"),
    ]
    for answer in answers:
        problem_of(answer, "unauthorised", 401)


def test_a_caller_reads_the_decisions_of_its_own_organisation_only(service: Service) -> None:
    made = service.post("/v1/decisions", invented("first_contact.json"))
    where = made.headers["location"]
    theirs = service.keys.make("integrator", ROLES["integrator"], "wren")
    other = service.client.get(where, headers=bearer(theirs))
    absent = service.client.get("/v1/decisions/00000000-0000-4000-8000-000000000000", headers=bearer(theirs))
    assert problem_of(other, "not-found", 404) == [("unknown-decision", None)]
    assert other.content == absent.content
    colleague = service.client.get(where, headers=bearer(service.keys.of_role["auditor"]))
    assert colleague.content == made.content


def test_a_decision_says_who_asked(service: Service) -> None:
    key = service.keys.of_role["integrator"]
    made = service.post("/v1/decisions", first_contact(), bearer(key)).json()
    assert made["caller"] == {"id": f"key:{id_of(key)}", "organisation": "quillerbeck"}


def test_a_preview_with_a_signed_token_is_answered(with_issuer: Service, issuer: Issuer) -> None:
    made = with_issuer.post("/v1/decisions", first_contact(), bearer(issuer.token()))
    assert made.status_code == 201
    assert made.json()["caller"] == {"id": "token:contact-form", "organisation": "quillerbeck"}
    none = issuer.token(claims(scope="system/*.rs"))
    problem_of(with_issuer.client.get("/v1/editions", headers=bearer(none)), "insufficient-scope", 403)


# Tokens that are not accepted.


def bad_tokens(service: Service, issuer: Issuer) -> dict[str, str]:
    """Tokens whose faults nobody but the log is told, by the reason that the log gives."""
    good = service.keys.everything
    revoked = service.keys.make("revoked", SCOPES)
    service.keys.revoke(id_of(revoked), datetime(2026, 3, 2, tzinfo=UTC))
    service.authoriser.forget()
    token = issuer.token()
    head, body, _ = token.split(".")
    return {
        "key-unknown": f"lt_ffffffffffff_{good.split('_')[2]}",
        "key-wrong-secret": good[:-1] + "f",
        "key-revoked": revoked,
        "key-form": good + "0",
        "token-form": "nonsense",
        "token-signature": Issuer().token(),
        "token-algorithm": issuer.token(alg="none"),
        "token-key-unknown": issuer.token(kid="../../etc/passwd"),
        "token-issuer": issuer.token(claims(iss="https://other.example/")),
        "token-audience": issuer.token(claims(aud=["https://other.example/"])),
        "token-never-expires": issuer.token(claims(exp=None)),
        "token-lives-too-long": issuer.token(claims(exp=10**18)),
        "token-not-yet-valid": issuer.token(claims(nbf=int(NOW.timestamp()) + 60)),
        "token-time": issuer.token(claims(exp="soon")),
        "token-claims": issuer.token(b'{"exp":1,"exp":2}'),
        "token-header": f"{head[:-4]}.{body}.AAAA",
        "token-critical-header": issuer.token(crit=["b64"]),
        "token-organisation": issuer.token(claims(organisation=None)),
        "token-too-long": issuer.token(claims(more="x" * 8000)),
    }


def test_whatever_is_wrong_with_a_token_the_answer_is_the_same_and_only_the_log_knows(
    with_issuer: Service, issuer: Issuer, caplog: pytest.LogCaptureFixture
) -> None:
    before, answers = with_issuer.log.size, set()
    for reason, token in bad_tokens(with_issuer, issuer).items():
        caplog.clear()
        answer = with_issuer.post("/v1/decisions", first_contact(), bearer(token))
        assert problem_of(answer, "unauthorised", 401) == [("token-refused", None)], reason
        assert answer.headers["www-authenticate"] == REFUSED
        answers.add((answer.content, str(sorted(answer.headers.items()))))
        [record] = [one for one in caplog.records if one.name == "limbtier.access"]
        assert record.getMessage() == f"401 POST /v1/decisions: {reason}"
        assert record.levelno == logging.WARNING
    assert len(answers) == 1
    assert with_issuer.log.size == before


def test_nothing_of_a_bad_token_stands_in_an_answer_or_in_any_log(
    with_issuer: Service, issuer: Issuer, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    for token in bad_tokens(with_issuer, issuer).values():
        caplog.clear()
        answer = with_issuer.client.get("/v1/editions", headers=bearer(token))
        told = (
            answer.text
            + str(answer.headers)
            + "".join(one.getMessage() for one in caplog.records if one.name.startswith("limbtier"))
        )
        parts = [part for part in re.split(r"[_.]", token) if len(part) > 3] + [token]
        assert [part for part in parts if part in told] == []


def test_an_expired_token_is_told_so_because_its_sender_knows_it_anyway(
    with_issuer: Service, issuer: Issuer
) -> None:
    expired = claims(exp=int(NOW.timestamp()) - 60)
    answer = with_issuer.client.get("/v1/editions", headers=bearer(issuer.token(expired)))
    assert problem_of(answer, "unauthorised", 401) == [("token-expired", None)]
    assert 'error="invalid_token"' in answer.headers["www-authenticate"]
    forged = with_issuer.client.get("/v1/editions", headers=bearer(Issuer().token(expired)))
    assert problem_of(forged, "unauthorised", 401) == [("token-refused", None)]


def test_a_key_that_is_revoked_while_the_service_runs_stops_working(service: Service) -> None:
    key = service.keys.of_role["integrator"]
    assert service.client.get("/v1/editions", headers=bearer(key)).status_code == 200
    service.keys.revoke(id_of(key), datetime(2026, 3, 2, tzinfo=UTC))
    service.authoriser.forget()
    answer = service.client.get("/v1/editions", headers=bearer(key))
    assert problem_of(answer, "unauthorised", 401) == [("token-refused", None)]


def test_while_the_keys_cannot_be_read_nobody_new_is_let_in(rules: ReadyRules) -> None:
    service = start(rules)
    service.keys.fails = True
    answer = service.client.get("/v1/editions")
    assert problem_of(answer, "store-unavailable", 503) == [("store-unavailable", None)]


# The header itself.


@pytest.mark.parametrize(
    ("value", "code"),
    [
        (b"", "bad-authorization-header"),
        (b"Bearer", "bad-authorization-header"),
        (b"Bearer ", "bad-authorization-header"),
        (b"Bearer\t{key}", "bad-authorization-header"),
        (b"Bearer {key} {key}", "bad-authorization-header"),
        (b"Bearer {key},Bearer {key}", "bad-authorization-header"),
        (b'Bearer "{key}"', "bad-authorization-header"),
        (b"Bearer token={key}", "bad-authorization-header"),
        (b"Bearer {key}\x00", "bad-authorization-header"),
        (b"Bearer {key}\x7f", "bad-authorization-header"),
        (b"Bearer \xd0\xba\xd0\xbb\xd1\x8e\xd1\x87", "bad-authorization-header"),
        (b"\xef\xbb\xbfBearer {key}", "bad-authorization-header"),
        (b"Bearer{key}", "no-token"),
        (b"{key}", "no-token"),
        (b"Basic {key}", "no-token"),
        (b"Basic Bearer {key}", "no-token"),
        (b"Bearers {key}", "no-token"),
        (b"Bearer {key}=", "token-refused"),
        (b"Bearer ={key}", "bad-authorization-header"),
        (b"Bearer " + b"x" * (LONGEST_TOKEN + 1), "token-refused"),
        (b"Bearer " + b"x" * 1_000_000, "token-refused"),
    ],
    ids=lambda value: repr(value[:30]),
)
def test_a_header_of_another_form_is_refused(shared_service: Service, value: bytes, code: str) -> None:
    sent = value.replace(b"{key}", shared_service.keys.everything.encode())
    status, problem = asked(shared_service, [(b"authorization", sent)])
    assert (status, problem["errors"][0]["code"]) == (401, code)
    assert problem["type"] == "/problems/unauthorised"


@pytest.mark.parametrize("scheme", ["Bearer ", "bearer ", "BEARER ", "Bearer   "])
def test_the_scheme_is_read_in_any_case_as_http_says(shared_service: Service, scheme: str) -> None:
    # RFC 9110, 11.1: the name of a scheme is read in any case; RFC 6750, 2.1: one space or more.
    value = f"{scheme}{shared_service.keys.everything}".encode()
    status, _ = asked(shared_service, [(b"authorization", value)])
    assert status == 200


def test_two_headers_are_refused_even_if_both_are_good(shared_service: Service) -> None:
    good = b"Bearer " + shared_service.keys.everything.encode()
    for second in (good, b"Bearer nonsense", b"Basic eDp5", b""):
        for pair in ((good, second), (second, good)):
            status, problem = asked(shared_service, [(b"authorization", value) for value in pair])
            assert status == 401
            assert problem["errors"][0]["code"] == "bad-authorization-header"


def test_a_token_anywhere_else_counts_for_nothing(shared_service: Service, stranger: TestClient) -> None:
    # RFC 6750 also knows tokens in queries and forms; both end up in logs and caches, so neither is read.
    key = shared_service.keys.everything
    assert stranger.get(f"/v1/editions?access_token={key}").status_code == 401
    assert stranger.post("/v1/previews", data={"access_token": key}).status_code == 401
    for name in ("X-Authorization", "Proxy-Authorization", "X-API-Key", "Cookie", "Authentication"):
        assert stranger.get("/v1/editions", headers={name: f"Bearer {key}"}).status_code == 401


def test_a_header_that_would_begin_another_is_refused(shared_service: Service) -> None:
    value = b"Bearer x\r\nAuthorization: Bearer " + shared_service.keys.everything.encode()
    status, problem = asked(shared_service, [(b"authorization", value)])
    assert (status, problem["errors"][0]["code"]) == (401, "bad-authorization-header")


@given(value=st.binary(max_size=200) | st.binary(max_size=200).map(b"Bearer ".__add__))
def test_any_bytes_give_a_token_of_the_permitted_letters_or_are_refused(value: bytes) -> None:
    try:
        token = bearer_token([(b"authorization", value)])
    except TokenRefused:
        return
    assert value.lower().startswith(b"bearer ")
    assert value.endswith(token.encode("ascii"))
    assert re.fullmatch(r"[A-Za-z0-9._~+/-]+=*", token)


def asked(service: Service, headers: list[tuple[bytes, bytes]]) -> tuple[int, dict[str, Any]]:
    """Status and body of an answer about editions, for headers that no client would send."""
    sent: list[Any] = []
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": "/v1/editions",
        "raw_path": b"/v1/editions",
        "root_path": "",
        "query_string": b"",
        "headers": headers,
    }

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    asyncio.run(service.app(scope, receive, send))
    return sent[0]["status"], orjson.loads(sent[1]["body"])


# Refused acts.


def small_application(keys: KeysInMemory, told: list[tuple[Caller, str, str]]) -> TestClient:
    """An application of one resource, which says who called."""

    async def refused(caller: Caller, act: str, needed: str) -> None:
        told.append((caller, act, needed))

    access = Access(Authoriser(keys), refused)
    app = FastAPI(openapi_url=None)
    add_problem_handlers(app)

    @app.get("/things/{name}")
    async def read(request: Request) -> dict[str, str]:
        return {"caller": (await access.caller(request, AUDIT, "other")).id}

    return TestClient(app)


def test_an_act_that_a_known_caller_may_not_do_is_told_with_its_route() -> None:
    keys, told = KeysInMemory(), list[tuple[Caller, str, str]]()
    client = small_application(keys, told)
    auditor, editor = keys.of_role["auditor"], keys.of_role["editor"]
    assert client.get("/things/secret", headers=bearer(auditor)).json() == {"caller": f"key:{id_of(auditor)}"}
    assert told == []
    assert client.get("/things/secret", headers=bearer(editor)).status_code == 403
    [(caller, act, needed)] = told
    assert (caller.id, act, needed) == (f"key:{id_of(editor)}", "GET /things/{name}", "audit other")


def test_a_bad_token_is_no_refused_act() -> None:
    told: list[tuple[Caller, str, str]] = []
    client = small_application(KeysInMemory(), told)
    for headers in ({}, bearer("nonsense"), bearer(f"lt_{'0' * 12}_{'0' * 64}")):
        assert client.get("/things/secret", headers=headers).status_code == 401
    assert told == []


def test_many_requests_at_once_read_the_keys_once() -> None:
    keys = KeysInMemory()
    authoriser = Authoriser(keys)
    access = Access(authoriser, None)  # type: ignore[arg-type]
    scope = {"type": "http", "headers": [(b"authorization", b"Bearer " + keys.everything.encode())]}

    async def at_once() -> list[Caller]:
        return await asyncio.gather(*(access.caller(Request(scope), AUDIT) for _ in range(50)))

    assert len(asyncio.run(at_once())) == 50
    assert keys.reads == 1


def test_the_key_file_of_the_issuer_is_never_served(with_issuer: Service, tmp_path: Path) -> None:
    assert with_issuer.client.get("/keys.json").status_code == 404
