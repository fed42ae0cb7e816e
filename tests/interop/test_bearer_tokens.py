"""Signed tokens: good ones of every algorithm taken, published ones, and every way to make a bad one."""

from __future__ import annotations

import hmac
import json
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from hypothesis import given
from hypothesis import strategies as st
from joserfc import jws
from joserfc.jwk import ECKey, OKPKey, RSAKey

from limbtier.foundation.settings import TokenSettings
from limbtier.interop.bearer_tokens import LEEWAY_SECONDS, LONGEST_TOKEN, TokenReader, TokenRefused
from tests.support.tokens import (
    AUDIENCE,
    GOOD,
    ISSUER,
    NOW,
    SECONDS,
    Issuer,
    claims,
    encoded,
    reader,
    taken,
    write_key_set,
)


@pytest.fixture(scope="module")
def issuer() -> Issuer:
    return Issuer()


@pytest.fixture(scope="module")
def tokens(issuer: Issuer, tmp_path_factory: pytest.TempPathFactory) -> TokenReader:
    folder = tmp_path_factory.mktemp("keys")
    return reader(write_key_set(folder / "keys.json", issuer.public_key()))


def refusal(tokens: TokenReader, token: str) -> str:
    with pytest.raises(TokenRefused) as caught:
        tokens.caller(token)
    return caught.value.reason


# Good tokens.


def test_a_good_token_names_its_client_organisation_and_scopes(tokens: TokenReader, issuer: Issuer) -> None:
    caller = tokens.caller(issuer.token())
    assert (caller.id, caller.organisation) == ("token:contact-form", "quillerbeck")
    assert caller.scopes == {"decide", "read"}


@pytest.mark.parametrize(
    ("change", "who"),
    [
        ({"sub": "somebody"}, "token:contact-form"),
        ({"client_id": None, "sub": "https://form.example/"}, "token:https://form.example/"),
        ({"client_id": "operator"}, "token:operator"),
    ],
)
def test_the_client_comes_before_the_subject_and_none_can_be_one_of_our_own(
    tokens: TokenReader, issuer: Issuer, change: dict[str, Any], who: str
) -> None:
    assert tokens.caller(issuer.token(claims(**change))).id == who


@pytest.mark.parametrize(
    ("scope", "known"),
    [
        (None, set()),
        ("", set()),
        ("decide", {"decide"}),
        ("openid system/*.rs audit", {"audit"}),
        ("decide,read", set()),
        ("Decide DECIDE decide.all", set()),
    ],
)
def test_scopes_of_other_services_mean_nothing(
    tokens: TokenReader, issuer: Issuer, scope: str | None, known: set[str]
) -> None:
    assert tokens.caller(issuer.token(claims(scope=scope))).scopes == known


@pytest.mark.parametrize("kind", ["JWT", "jwt", "at+jwt", "application/at+jwt"])
def test_both_types_of_the_standards_are_taken(tokens: TokenReader, issuer: Issuer, kind: str) -> None:
    assert taken(tokens, issuer.token(typ=kind))


def test_an_audience_may_be_one_of_several(tokens: TokenReader, issuer: Issuer) -> None:
    assert taken(tokens, issuer.token(claims(aud=["https://other.example/", AUDIENCE])))


def test_times_need_not_be_whole_and_clocks_may_differ_a_little(tokens: TokenReader, issuer: Issuer) -> None:
    assert taken(tokens, issuer.token(claims(exp=SECONDS + 0.5, iat=SECONDS - 0.25, nbf=SECONDS)))
    assert taken(tokens, issuer.token(claims(exp=SECONDS - LEEWAY_SECONDS + 1)))
    assert taken(tokens, issuer.token(claims(nbf=SECONDS + LEEWAY_SECONDS, iat=SECONDS + LEEWAY_SECONDS)))


def test_where_a_token_says_its_key_lies_is_never_looked_at(tokens: TokenReader, issuer: Issuer) -> None:
    elsewhere = Issuer()
    token = issuer.token(jku="https://attacker.example/keys", jwk=elsewhere.public_key(), x5u="file:///")
    assert taken(tokens, token)
    forged = elsewhere.token(jku="https://attacker.example/keys", jwk=elsewhere.public_key())
    assert refusal(tokens, forged) == "token-signature"


def test_the_claim_that_names_the_organisation_can_be_set(issuer: Issuer, tmp_path: Path) -> None:
    file = write_key_set(tmp_path / "keys.json", issuer.public_key())
    tokens = TokenReader(TokenSettings(ISSUER, AUDIENCE, file, "https://issuer.example/tenant"), lambda: NOW)
    assert refusal(tokens, issuer.token()) == "token-organisation"
    token = issuer.token({**claims(), "https://issuer.example/tenant": "wren"})
    assert tokens.caller(token).organisation == "wren"


# Tokens signed by another library (joserfc).

SIGNERS = [
    *((f"{family}{size}", "RSA") for family in ("RS", "PS") for size in (256, 384, 512)),
    ("ES256", "P-256"),
    ("ES384", "P-384"),
    ("ES512", "P-521"),
    ("Ed25519", "Ed25519"),
]


@pytest.fixture(scope="module")
def signing_keys() -> dict[str, Any]:
    found: dict[str, Any] = {"RSA": RSAKey.generate_key(2048), "Ed25519": OKPKey.generate_key("Ed25519")}
    return found | {curve: ECKey.generate_key(curve) for curve in ("P-256", "P-384", "P-521")}


def signed_elsewhere(algorithm: str, key: Any, content: dict[str, Any]) -> str:
    """A token made by joserfc. It knows EdDSA by its newer name (RFC 9864) only without a warning, so that
    one is signed with the key itself."""
    header = {"alg": algorithm, "typ": "JWT", "kid": "outside"}
    if algorithm != "Ed25519":
        return jws.serialize_compact(header, json.dumps(content), key, algorithms=[algorithm])
    header["alg"] = "EdDSA"
    text = f"{encoded(json.dumps(header).encode())}.{encoded(json.dumps(content).encode())}"
    return f"{text}.{encoded(key.private_key.sign(text.encode()))}"


@pytest.mark.parametrize(("algorithm", "kind"), SIGNERS)
@pytest.mark.parametrize("named", [True, False], ids=["algorithm-named", "algorithm-by-kind"])
def test_a_token_signed_by_another_library_is_taken(
    algorithm: str, kind: str, named: bool, signing_keys: dict[str, Any], tmp_path: Path
) -> None:
    key = signing_keys[kind]
    public = {**key.as_dict(private=False), "kid": "outside"}
    public.pop("alg", None)
    if named:
        public["alg"] = "EdDSA" if kind == "Ed25519" else algorithm
    tokens = reader(write_key_set(tmp_path / "keys.json", public))
    token = signed_elsewhere(algorithm, key, dict(GOOD))
    assert tokens.caller(token).id == "token:contact-form"
    head, body, signature = token.split(".")
    other = encoded(json.dumps(claims(organisation="wren")).encode())
    assert refusal(tokens, f"{head}.{other}.{signature}") == "token-signature"
    assert refusal(tokens, f"{head}.{body}.{encoded(bytes(64))}") == "token-signature"


@pytest.mark.parametrize(("used", "named"), [("RS384", "RS256"), ("PS256", "RS256"), ("RS256", "PS256")])
def test_a_key_is_used_with_its_own_algorithm_only(
    used: str, named: str, signing_keys: dict[str, Any], tmp_path: Path
) -> None:
    key = signing_keys["RSA"]
    public = {**key.as_dict(private=False), "kid": "outside", "alg": named}
    tokens = reader(write_key_set(tmp_path / "keys.json", public))
    assert refusal(tokens, signed_elsewhere(used, key, dict(GOOD))) == "token-key-unknown"


# Published tokens.


@pytest.mark.parametrize("number", [0, 1], ids=["RS384", "ES384"])
def test_the_published_smart_assertions_have_good_signatures_and_are_expired(
    shared_data: Path, number: int
) -> None:
    # HL7 smart-app-launch, "Example JWKs and signatures" (CC-BY-4.0); they expired in January 2015. They name
    # no organisation, which is looked for only after signature, issuer, audience and times.
    folder = shared_data / "standards" / "smart"
    vector = json.loads((folder / "client-assertions.json").read_text())["vectors"][number]
    settings = TokenSettings("https://bili-monitor.example.com", vector["aud"], folder / vector["key_file"])
    assert refusal(TokenReader(settings), vector["jwt"]) == "token-expired"
    in_time = TokenReader(settings, lambda: datetime(2015, 1, 29, 21, 59, tzinfo=UTC))
    assert refusal(in_time, vector["jwt"]) == "token-organisation"
    head, body, signature = vector["jwt"].split(".")
    assert refusal(in_time, f"{head}.{body}.{signature[1:]}{signature[0]}") == "token-signature"


def test_the_published_cds_hooks_token_has_a_good_signature_and_is_expired(
    shared_data: Path, tmp_path: Path
) -> None:
    # CDS Hooks, specification, "Trusting CDS clients" (Apache-2.0). It names its key set by `jku`, too.
    vector = json.loads((shared_data / "standards" / "cds-hooks" / "jwt-example.json").read_text())
    file = write_key_set(tmp_path / "keys.json", *vector["jwks"]["keys"])
    settings = TokenSettings("https://fhir-ehr.example.com/", vector["aud"], file, "tenant")
    assert refusal(TokenReader(settings), vector["jwt"]) == "token-expired"
    in_time = TokenReader(settings, lambda: datetime(2015, 1, 29, 21, 59, tzinfo=UTC))
    assert refusal(in_time, vector["jwt"]) == "token-subject"  # all is well but that it names no client


# Forged tokens.


def test_a_token_of_another_issuer_with_the_same_key_id_is_forged(tokens: TokenReader) -> None:
    assert refusal(tokens, Issuer().token()) == "token-signature"


@pytest.mark.parametrize("name", ["none", "None", "NONE", "nOnE", "", "HS256", "ES256K", "es256", "RS1"])
def test_only_algorithms_of_the_list_are_taken(tokens: TokenReader, issuer: Issuer, name: str) -> None:
    assert refusal(tokens, issuer.token(alg=name)) == "token-algorithm"


@pytest.mark.parametrize("name", [None, 1, True, ["ES256"], {"ES256": 1}])
def test_an_algorithm_that_is_no_text_is_refused(tokens: TokenReader, issuer: Issuer, name: Any) -> None:
    assert refusal(tokens, issuer.token(alg=name)) == "token-algorithm"


def test_a_token_without_signature_is_refused(tokens: TokenReader, issuer: Issuer) -> None:
    head = encoded(json.dumps({"alg": "none", "typ": "JWT", "kid": "first"}).encode())
    _, body, _ = issuer.token().split(".")
    for token in (f"{head}.{body}.", f"{head}.{body}", f"{head}.{body}.x."):
        assert refusal(tokens, token) == "token-form"
    assert refusal(tokens, f"{head}.{body}.AA") == "token-algorithm"


def test_a_public_key_never_serves_as_a_shared_secret(
    tokens: TokenReader, issuer: Issuer, signing_keys: dict[str, Any], tmp_path: Path
) -> None:
    public = signing_keys["RSA"].public_key
    secrets = [
        public.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo),
        public.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo),
        json.dumps(issuer.public_key()).encode(),
    ]
    described = {**signing_keys["RSA"].as_dict(private=False), "kid": "first"}
    of_rsa = reader(write_key_set(tmp_path / "keys.json", described))
    for secret in secrets:
        head = encoded(json.dumps({"alg": "HS256", "typ": "JWT", "kid": "first"}).encode())
        text = f"{head}.{encoded(json.dumps(GOOD).encode())}"
        token = f"{text}.{encoded(hmac.new(secret, text.encode(), sha256).digest())}"
        assert refusal(tokens, token) == "token-algorithm"
        assert refusal(of_rsa, token) == "token-algorithm"


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("second", "token-key-unknown"),
        ("FIRST", "token-key-unknown"),
        ("first\u0000", "token-key-unknown"),
        ("../../etc/passwd", "token-key-unknown"),
        ("/dev/null", "token-key-unknown"),
        ("first' OR '1'='1", "token-key-unknown"),
        ("https://attacker.example/keys", "token-key-unknown"),
        ("", "token-key-unknown"),
        ("x" * 256, "token-key-id"),
        (None, "token-key-id"),
        (1, "token-key-id"),
        (["first"], "token-key-id"),
    ],
)
def test_a_key_id_names_a_key_of_the_set_and_nothing_else(
    tokens: TokenReader, issuer: Issuer, name: Any, reason: str
) -> None:
    assert refusal(tokens, issuer.token(kid=name)) == reason


@pytest.mark.parametrize(
    ("header", "reason"),
    [
        ({"typ": None}, "token-type"),
        ({"typ": "JOSE"}, "token-type"),
        ({"typ": 1}, "token-type"),
        ({"typ": "dpop+jwt"}, "token-type"),
        ({"crit": ["exp"]}, "token-critical-header"),
        ({"crit": []}, "token-critical-header"),
        ({"crit": ["b64"], "b64": False}, "token-critical-header"),
        ({"b64": False}, "token-signature"),
    ],
)
def test_a_header_that_asks_for_more_is_refused(
    tokens: TokenReader, issuer: Issuer, header: dict[str, Any], reason: str
) -> None:
    assert refusal(tokens, issuer.token(**header)) == reason


@pytest.mark.parametrize(
    "header",
    [
        b"",
        b"[]",
        b"null",
        b'{"alg":"ES256"',
        b'{"alg":"HS256","alg":"ES256","typ":"JWT","kid":"first"}',
        b'{"alg":"ES256","typ":"JWT","kid":"first","kid":"second"}',
        b'{"alg":"ES256","typ":"JWT","kid":"first"}{}',
        b'{"alg":"ES256","typ":"JWT","kid":"\xff"}',
        b'{"a":' * 200 + b"1" + b"}" * 200,
    ],
    ids=lambda header: repr(header[:40]),
)
def test_a_header_without_one_meaning_is_refused(tokens: TokenReader, issuer: Issuer, header: bytes) -> None:
    assert refusal(tokens, issuer.token(header=header)) in ("token-header", "token-form")


@pytest.mark.parametrize(
    "content",
    [
        b"[]",
        b"1",
        b"nonsense",
        b"\xff",
        json.dumps(GOOD).encode()[:-1] + b',"organisation":"wren"}',
        json.dumps(GOOD).encode()[:-1] + b',"exp":1}',
        json.dumps(GOOD).encode()[:-1] + b',"more":NaN}',
        json.dumps(GOOD).encode()[:-1] + b',"more":' + b"9" * 5000 + b"}",
        json.dumps(GOOD).encode()[:-1] + b',"more":"\\ud800"}',
    ],
    ids=lambda content: repr(content[-30:]),
)
def test_claims_without_one_meaning_are_refused_even_when_signed(
    tokens: TokenReader, issuer: Issuer, content: bytes
) -> None:
    assert refusal(tokens, issuer.token(content)) == "token-claims"


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"iss": "https://other.example/"}, "token-issuer"),
        ({"iss": ISSUER.rstrip("/")}, "token-issuer"),
        ({"iss": None}, "token-issuer"),
        ({"iss": [ISSUER]}, "token-issuer"),
        ({"aud": "https://other.example/"}, "token-audience"),
        ({"aud": AUDIENCE.upper()}, "token-audience"),
        ({"aud": None}, "token-audience"),
        ({"aud": []}, "token-audience"),
        ({"aud": [[AUDIENCE]]}, "token-audience"),
        ({"aud": {AUDIENCE: True}}, "token-audience"),
        ({"exp": None}, "token-never-expires"),
        ({"exp": SECONDS - LEEWAY_SECONDS}, "token-expired"),
        ({"exp": 0}, "token-expired"),
        ({"exp": -1}, "token-expired"),
        ({"exp": 10**18}, "token-lives-too-long"),
        ({"exp": 1e300}, "token-lives-too-long"),
        ({"exp": 10**4000}, "token-lives-too-long"),
        ({"exp": str(SECONDS + 300)}, "token-time"),
        ({"exp": True}, "token-time"),
        ({"exp": [SECONDS + 300]}, "token-time"),
        ({"nbf": SECONDS + LEEWAY_SECONDS + 1}, "token-not-yet-valid"),
        ({"nbf": "now"}, "token-time"),
        ({"iat": SECONDS + LEEWAY_SECONDS + 1}, "token-issued-in-future"),
        ({"iat": False}, "token-time"),
        ({"client_id": None}, "token-subject"),
        ({"client_id": ""}, "token-subject"),
        ({"client_id": 7}, "token-subject"),
        ({"client_id": "contact form"}, "token-subject"),
        ({"client_id": "form\n403 nothing"}, "token-subject"),
        ({"client_id": "förm"}, "token-subject"),
        ({"client_id": "x" * 129}, "token-subject"),
        ({"organisation": None}, "token-organisation"),
        ({"organisation": ""}, "token-organisation"),
        ({"organisation": ["quillerbeck"]}, "token-organisation"),
        ({"organisation": "quiller beck"}, "token-organisation"),
        ({"organisation": "../other"}, "token-organisation"),
        ({"organisation": "quillerbeck\n"}, "token-organisation"),
        ({"scope": ["decide"]}, "token-scope"),
        ({"scope": {"decide": True}}, "token-scope"),
    ],
    ids=lambda value: repr(value)[:60],
)
def test_a_claim_that_does_not_hold_is_refused(
    tokens: TokenReader, issuer: Issuer, change: dict[str, Any], reason: str
) -> None:
    assert refusal(tokens, issuer.token(claims(**change))) == reason


def test_an_absent_claim_and_one_that_is_null_are_not_the_same(tokens: TokenReader, issuer: Issuer) -> None:
    assert refusal(tokens, issuer.token({**GOOD, "nbf": None})) == "token-time"


def test_a_token_longer_than_allowed_is_refused_before_it_is_read(
    tokens: TokenReader, issuer: Issuer
) -> None:
    padded = issuer.token(claims(more="x" * 4000))
    assert taken(tokens, padded)
    longer = issuer.token(claims(more="x" * 7000))
    assert len(longer) > LONGEST_TOKEN
    assert refusal(tokens, longer) == "token-too-long"
    assert refusal(tokens, "x" * 10_000_000) == "token-too-long"


@pytest.mark.parametrize(
    "token",
    [
        "",
        ".",
        "..",
        "...",
        "a.b.c",
        "a.b.c.d",
        "a.b.c.d.e",
        "é.a.b",
        "a b.c.d",
        "ey.\n.x",
        "=.=.=",
        "A.AA.AA",
    ],
)
def test_what_has_not_the_form_of_a_token_is_refused(tokens: TokenReader, token: str) -> None:
    assert refusal(tokens, token) in ("token-form", "token-header")


@given(data=st.data())
def test_no_change_of_one_letter_leaves_a_token_good(
    data: st.DataObject, tokens: TokenReader, issuer: Issuer
) -> None:
    token = issuer.token()
    place = data.draw(st.integers(0, len(token) - 1))
    letter = data.draw(st.sampled_from("ABcd01-_.=+/ \n\u00e9"))
    changed = token[:place] + letter + token[place + 1 :]
    if changed != token:
        assert refusal(tokens, changed).startswith("token-")


@given(text=st.text() | st.from_regex(r"[A-Za-z0-9_-]{0,40}(\.[A-Za-z0-9_-]{0,40}){2}", fullmatch=True))
def test_any_text_is_refused_without_any_other_error(text: str, tokens: TokenReader) -> None:
    assert refusal(tokens, text).startswith("token-")


# Tokens seen before.


class Moving:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now


def test_a_token_seen_before_still_expires(issuer: Issuer, tmp_path: Path) -> None:
    clock = Moving()
    file = write_key_set(tmp_path / "keys.json", issuer.public_key())
    tokens = TokenReader(TokenSettings(ISSUER, AUDIENCE, file), clock)
    token = issuer.token()
    assert tokens.caller(token) is tokens.caller(token)
    clock.now = NOW + timedelta(seconds=300 + LEEWAY_SECONDS - 1)
    assert taken(tokens, token)
    clock.now += timedelta(seconds=1)
    assert refusal(tokens, token) == "token-expired"


def test_a_token_seen_before_goes_with_its_key(issuer: Issuer, tmp_path: Path) -> None:
    file = write_key_set(tmp_path / "keys.json", issuer.public_key())
    tokens = reader(file)
    assert taken(tokens, issuer.token())
    token = issuer.token()
    assert taken(tokens, token)
    write_key_set(tmp_path / "next.json", Issuer().public_key()).replace(file)
    assert refusal(tokens, token) == "token-signature"


def test_a_bad_token_is_never_remembered_and_good_ones_only_so_many(
    issuer: Issuer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("limbtier.interop.bearer_tokens.MOST_REMEMBERED", 5)
    tokens = reader(write_key_set(tmp_path / "keys.json", issuer.public_key()))
    for number in range(12):
        good = issuer.token(claims(client_id=f"form-{number}"))
        assert tokens.caller(good).id == f"token:form-{number}"
        assert refusal(tokens, good[:-4] + "AAAA") == "token-signature"
        assert len(tokens._good) <= 5
