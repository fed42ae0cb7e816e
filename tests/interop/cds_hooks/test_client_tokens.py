"""Tokens of CDS clients: good ones, the one that the standard prints, and every way to make a bad one."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from limbtier.foundation.settings import InvalidSettings
from limbtier.interop.bearer_tokens import TokenRefused
from limbtier.interop.cds_hooks import client_tokens
from limbtier.interop.cds_hooks.client_list import read_client_list
from limbtier.interop.cds_hooks.client_tokens import LONGEST_LIFE_SECONDS, ClientTokens
from tests.support.tokens import NOW, SECONDS, Issuer, write_key_set

BASE = "https://limbtier.quillerbeck.example"
PATH = "/cds-services/limbtier-patient-view"
EHR = "https://record.quillerbeck.example/"
GOOD = {
    "iss": EHR,
    "aud": BASE + PATH,
    "iat": SECONDS,
    "exp": SECONDS + 300,
    "jti": "0b7a4f6e-6a0c-4c4e-8a5e-6d1f0f1f2a3b",
}


class Clients:
    """A list of one client in a folder, with its key."""

    def __init__(self, folder: Path, **client: Any) -> None:
        self.issuer = Issuer()
        self.moment = NOW
        write_key_set(folder / "keys.json", self.issuer.public_key())
        entry = {"issuer": EHR, "keys": "keys.json", "organisation": "quillerbeck", **client}
        kept = {name: value for name, value in entry.items() if value is not None}
        (folder / "clients.json").write_text(json.dumps({"clients": [kept]}))
        self.tokens = ClientTokens(read_client_list(folder / "clients.json"), BASE, lambda: self.moment)

    def token(self, header: dict[str, Any] | None = None, **changes: Any) -> str:
        claims = {name: value for name, value in {**GOOD, **changes}.items() if value is not None}
        return self.issuer.token(claims, **{"typ": "JWT", **(header or {})})

    def refusal(self, token: str, path: str = PATH) -> str:
        with pytest.raises(TokenRefused) as caught:
            self.tokens.call(token, path)
        return caught.value.reason


@pytest.fixture
def clients(tmp_path: Path) -> Clients:
    return Clients(tmp_path)


def test_a_good_token_names_its_client_and_organisation_and_may_only_decide(clients: Clients) -> None:
    call = clients.tokens.call(clients.token(), PATH)
    assert (call.caller.id, call.caller.organisation) == (f"client:{EHR}", "quillerbeck")
    assert call.caller.scopes == {"decide"}
    assert call.token_id == GOOD["jti"]


def test_a_list_of_audiences_may_hold_the_address_that_is_called(clients: Clients) -> None:
    assert clients.tokens.call(clients.token(aud=["https://other.example/", BASE + PATH]), PATH).token_id


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"iss": "https://elsewhere.example/"}, "token-issuer"),
        ({"iss": None}, "token-issuer"),
        ({"iss": ["x"]}, "token-issuer"),
        ({"aud": BASE}, "token-audience"),
        ({"aud": BASE + PATH + "/feedback"}, "token-audience"),
        ({"aud": BASE + PATH + "/"}, "token-audience"),
        ({"aud": None}, "token-audience"),
        ({"exp": None}, "token-never-expires"),
        ({"exp": SECONDS - 31}, "token-expired"),
        ({"exp": SECONDS + LONGEST_LIFE_SECONDS + 31}, "token-lives-too-long"),
        ({"exp": "later"}, "token-time"),
        ({"iat": None}, "token-time"),
        ({"iat": SECONDS + 31}, "token-issued-in-future"),
        ({"iat": True}, "token-time"),
        ({"nbf": SECONDS + 31}, "token-not-yet-valid"),
        ({"jti": None}, "token-id"),
        ({"jti": ""}, "token-id"),
        ({"jti": "x" * 256}, "token-id"),
        ({"jti": 7}, "token-id"),
        ({"tenant": "north"}, "token-tenant"),
    ],
)
def test_claims_that_do_not_fit_are_refused(clients: Clients, changes: dict[str, Any], reason: str) -> None:
    assert clients.refusal(clients.token(**changes)) == reason
    assert clients.tokens.call(clients.token(), PATH).token_id == GOOD["jti"]  # nothing was used up


@pytest.mark.parametrize(
    ("header", "reason"),
    [
        ({"typ": "at+jwt"}, "token-type"),
        ({"typ": None}, "token-type"),
        ({"alg": "none"}, "token-algorithm"),
        ({"alg": "HS256"}, "token-algorithm"),
        ({"kid": "other"}, "token-key-unknown"),
        ({"kid": None}, "token-key-id"),
        ({"crit": ["exp"]}, "token-critical-header"),
        ({"jku": "https://elsewhere.example/keys"}, "token-key-address"),
        ({"jku": 7}, "token-key-address"),
    ],
)
def test_headers_that_do_not_fit_are_refused(clients: Clients, header: dict[str, Any], reason: str) -> None:
    assert clients.refusal(clients.token(header)) == reason


def test_a_key_address_on_the_list_may_be_named_and_is_never_fetched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise AssertionError("the service opened a connection")

    monkeypatch.setattr("socket.socket.connect", refuse)
    monkeypatch.setattr("socket.getaddrinfo", refuse)
    clients = Clients(tmp_path, jku=["https://record.quillerbeck.example/keys"])
    named = clients.token({"jku": "https://record.quillerbeck.example/keys"})
    assert clients.tokens.call(named, PATH).token_id
    assert clients.refusal(clients.token({"jku": "https://record.quillerbeck.example/keys/../x"})) == (
        "token-key-address"
    )
    assert clients.refusal(clients.token({"jku": "http://169.254.169.254/"})) == "token-key-address"


def test_a_token_of_another_key_is_refused(clients: Clients) -> None:
    assert clients.refusal(Issuer().token(GOOD, typ="JWT")) == "token-signature"


def test_a_token_is_taken_once(clients: Clients) -> None:
    token = clients.token()
    clients.tokens.call(token, PATH)
    assert clients.refusal(token) == "token-replayed"
    assert clients.refusal(clients.token(exp=SECONDS + 200)) == "token-replayed"  # another with its id
    assert clients.tokens.call(clients.token(jti="another"), PATH).token_id == "another"


def test_ids_of_tokens_are_forgotten_only_once_the_tokens_have_expired(
    clients: Clients, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(client_tokens, "MOST_REMEMBERED", 2)
    for name in ("first", "second"):
        clients.tokens.call(clients.token(jti=name), PATH)
    assert clients.refusal(clients.token(jti="third")) == "token-memory-full"
    clients.moment = NOW + timedelta(seconds=331)
    later: dict[str, Any] = {"iat": SECONDS + 331, "exp": SECONDS + 600}
    assert clients.tokens.call(clients.token(jti="third", **later), PATH).token_id == "third"
    assert clients.refusal(clients.token(jti="first")) == "token-expired"


def test_a_tenant_stands_for_its_organisation(tmp_path: Path) -> None:
    clients = Clients(tmp_path, organisation=None, tenants={"north": "quillerbeck", "south": "threllmere"})
    assert clients.tokens.call(clients.token(tenant="south"), PATH).caller.organisation == "threllmere"
    assert clients.refusal(clients.token(jti="b", tenant="west")) == "token-tenant"
    assert clients.refusal(clients.token(jti="c")) == "token-tenant"
    assert clients.refusal(clients.token(jti="d", tenant=["north"])) == "token-tenant"


# The token that the specification prints as its example, with its key set (cds-hooks/docs, ES384).
def test_the_published_token_is_taken_at_its_time_and_is_expired_today(
    shared_data: Path, tmp_path: Path
) -> None:
    example = json.loads((shared_data / "standards" / "cds-hooks" / "jwt-example.json").read_text())
    (tmp_path / "keys.json").write_text(json.dumps(example["jwks"]))
    client = {
        "issuer": "https://fhir-ehr.example.com/",
        "keys": "keys.json",
        "tenants": {"2ddd6c3a-8e9a-44c6-a305-52111ad302a2": "quillerbeck"},
        "jku": ["https://fhir-ehr.example.com/jwk_uri"],
    }
    (tmp_path / "clients.json").write_text(json.dumps({"clients": [client]}))
    listed = read_client_list(tmp_path / "clients.json")
    base, path = "https://cds.example.org", "/cds-services/some-service"
    then = datetime.fromtimestamp(1422568860 - 60, UTC)
    call = ClientTokens(listed, base, lambda: then).call(example["jwt"], path)
    assert call.caller.organisation == "quillerbeck"
    assert call.token_id == "ee22b021-e1b7-4611-ba5b-8eec6a33ac1e"
    with pytest.raises(TokenRefused, match="token-expired"):
        ClientTokens(listed, base).call(example["jwt"], path)
    with pytest.raises(TokenRefused, match="token-audience"):
        ClientTokens(listed, base, lambda: then).call(example["jwt"], "/cds-services/another")


# The list of clients.


@pytest.mark.parametrize(
    ("client", "said"),
    [
        ({"issuer": ""}, "`issuer` is no text"),
        ({"issuer": "https://ä.example/"}, "`issuer` is no text"),
        ({"keys": "missing.json"}, "it cannot be read"),
        ({"keys": None}, "`keys` names no file"),
        ({"organisation": None}, "needs either `organisation` or `tenants`"),
        ({"tenants": {"north": "quillerbeck"}}, "needs either `organisation` or `tenants`"),
        ({"organisation": "a b"}, "no name of an organisation"),
        ({"organisation": None, "tenants": {"north": 7}}, "no object from tenants"),
        ({"jku": "https://x.example/"}, "no list of https addresses"),
        ({"jku": ["http://x.example/"]}, "no list of https addresses"),
        ({"organization": "quillerbeck"}, "Did you mean `organisation`?"),
    ],
)
def test_a_list_with_a_fault_is_refused_by_name(client: dict[str, Any], said: str, tmp_path: Path) -> None:
    with pytest.raises(InvalidSettings) as caught:
        Clients(tmp_path, **client)
    assert said in str(caught.value)
    assert "LIMBTIER_CDS_CLIENTS" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "stops being JSON"),
        ("[]", "no object with the one list"),
        ('{"clients": []}', "names no client"),
        ('{"clients": [7]}', "client 0 is no object"),
        ('{"clients": [], "client": []}', "no object with the one list"),
    ],
)
def test_a_file_that_is_no_list_is_refused(text: str, said: str, tmp_path: Path) -> None:
    file = tmp_path / "clients.json"
    file.write_text(text)
    with pytest.raises(InvalidSettings, match=said):
        read_client_list(file)


def test_all_faults_of_a_list_are_named_at_once_and_an_issuer_stands_once(tmp_path: Path) -> None:
    write_key_set(tmp_path / "keys.json", Issuer().public_key())
    good = {"issuer": EHR, "keys": "keys.json", "organisation": "quillerbeck"}
    (tmp_path / "clients.json").write_text(json.dumps({"clients": [good, good, {"issuer": 7}]}))
    with pytest.raises(InvalidSettings) as caught:
        read_client_list(tmp_path / "clients.json")
    text = str(caught.value)
    assert "client 1: the issuer stands twice" in text
    assert text.count("client 2") == 3
