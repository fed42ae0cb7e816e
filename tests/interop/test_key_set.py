"""The key-set file: what is taken of it, what refuses it, and how keys are rotated while the service runs."""

from __future__ import annotations

import json
import logging
import os
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import rsa
from joserfc.jwk import ECKey, OctKey, OKPKey

from limbtier.foundation.settings import InvalidSettings
from limbtier.interop.bearer_tokens import TokenRefused
from limbtier.interop.key_set import MOST_BYTES, IssuerKeys, read_key_set
from tests.support.tokens import Issuer, encoded, reader, taken, write_key_set


def names_of(file: Path) -> list[str]:
    return sorted({name for name, _ in read_key_set(file)})


def refused(file: Path) -> str:
    with pytest.raises(InvalidSettings) as caught:
        read_key_set(file)
    [fault] = caught.value.diagnostics
    assert fault.code == "invalid-setting"
    assert fault.message.startswith(f"LIMBTIER_TOKEN_KEYS: `{file}` cannot be used: ")
    return fault.message.partition("cannot be used: ")[2]


def small_rsa_key() -> dict[str, Any]:
    numbers = rsa.generate_private_key(65537, 1024).public_key().public_numbers()  # noqa: S505 - is to be refused
    return {"kty": "RSA", "kid": "small", "e": "AQAB", "n": encoded(numbers.n.to_bytes(128, "big"))}


def test_the_published_key_sets_are_read(shared_data: Path) -> None:
    # HL7 smart-app-launch (CC-BY-4.0): an RSA and a P-384 key, each for the algorithm it names.
    for name in ("RS384", "ES384"):
        keys = read_key_set(shared_data / "standards" / "smart" / f"{name}.public.json")
        assert [algorithm for _, algorithm in keys] == [name]


def test_the_published_private_key_sets_are_refused(shared_data: Path) -> None:
    for name in ("RS384", "ES384"):
        message = refused(shared_data / "standards" / "smart" / f"{name}.private.json")
        assert "private key" in message


def test_keys_of_other_kinds_are_left_out_and_named(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    good = Issuer("good").public_key()
    others = [
        Issuer("").public_key(),
        Issuer().public_key(kid=None),
        Issuer().public_key(kid=5),
        Issuer("x" * 256).public_key(),
        Issuer("encrypts").public_key(use="enc"),
        Issuer("signs").public_key(key_ops=["sign"]),
        Issuer("signs").public_key(key_ops="verify"),
        Issuer("strange").public_key(alg="HS256"),
        Issuer("strange").public_key(alg="ES384"),
        Issuer("strange").public_key(alg=["ES256"]),
        Issuer("strange").public_key(kty="RSA"),
        Issuer("strange").public_key(kty=["EC"]),
        Issuer("strange").public_key(crv="P-224"),
        Issuer("strange").public_key(crv=["P-256"]),
        Issuer("off the curve").public_key(x="AA", y="AA"),
        Issuer("off the curve").public_key(x=5),
        Issuer("short").public_key(y=None),
        {**OctKey.generate_key(256).as_dict(private=True), "kid": "shared"},
        {**OKPKey.generate_key("X25519").as_dict(private=False), "kid": "for agreement"},
        {**ECKey.generate_key("secp256k1").as_dict(private=False), "kid": "another curve"},
        small_rsa_key(),
        "text",
        None,
        {},
    ]
    file = write_key_set(tmp_path / "keys.json", *others, good)
    assert names_of(file) == ["good"]
    named = [record.getMessage() for record in caplog.records]
    assert len(named) == len(others)
    assert "key 20 is left out, because it has fewer than 2048 bits" in named[20]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "stops being JSON"),
        (b"nonsense", "stops being JSON"),
        (b"[]", "no list `keys`"),
        (b"{}", "no list `keys`"),
        (b'{"keys": {}}', "no list `keys`"),
        (b'{"keys": []}', "no key in it can be used"),
        (b'{"keys": [], "keys": []}', "stands twice"),
        (b"\xff", "UTF-8"),
        (b" " * (MOST_BYTES + 1), "longer than"),
    ],
    ids=lambda value: repr(value)[:30],
)
def test_a_file_that_is_no_key_set_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    file = tmp_path / "keys.json"
    file.write_bytes(content)
    assert words in refused(file)


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    assert "cannot be read" in refused(tmp_path / "absent.json")
    assert "cannot be read" in refused(tmp_path)


def test_two_keys_of_one_id_and_private_keys_refuse_the_whole_file(tmp_path: Path) -> None:
    file = write_key_set(
        tmp_path / "keys.json", Issuer("one").public_key(), Issuer("one").public_key(), Issuer().private_key()
    )
    message = refused(file)
    assert "two keys have the id of key 1" in message
    assert "key 2 is a private key" in message


def test_a_key_without_algorithm_serves_those_of_its_kind(tmp_path: Path) -> None:
    numbers = rsa.generate_private_key(65537, 2048).public_key().public_numbers()
    key = {"kty": "RSA", "kid": "any", "e": "AQAB", "n": encoded(numbers.n.to_bytes(256, "big"))}
    file = write_key_set(tmp_path / "keys.json", key, Issuer("curve").public_key(alg=None))
    assert sorted(read_key_set(file)) == [
        ("any", "PS256"),
        ("any", "PS384"),
        ("any", "PS512"),
        ("any", "RS256"),
        ("any", "RS384"),
        ("any", "RS512"),
        ("curve", "ES256"),
    ]


# Rotation.


def test_keys_rotate_while_the_service_runs(tmp_path: Path) -> None:
    old, new = Issuer("old"), Issuer("new")
    file = write_key_set(tmp_path / "keys.json", old.public_key())
    tokens = reader(file)
    assert taken(tokens, old.token())
    with pytest.raises(TokenRefused, match="token-key-unknown"):
        tokens.caller(new.token())
    write_key_set(tmp_path / "next.json", old.public_key(), new.public_key()).replace(file)
    assert taken(tokens, old.token())
    assert taken(tokens, new.token())
    write_key_set(tmp_path / "next.json", new.public_key()).replace(file)
    with pytest.raises(TokenRefused, match="token-key-unknown"):
        tokens.caller(old.token())
    assert taken(tokens, new.token())


@pytest.mark.parametrize("broken", [b"", b'{"keys": []}', None], ids=["cut off", "empty", "gone"])
def test_a_broken_new_file_keeps_the_keys_before_it_and_is_named_once(
    tmp_path: Path, broken: bytes | None, caplog: pytest.LogCaptureFixture
) -> None:
    issuer, next_one = Issuer("first"), Issuer("second")
    file = write_key_set(tmp_path / "keys.json", issuer.public_key())
    tokens = reader(file)
    if broken is None:
        file.unlink()
    else:
        file.write_bytes(broken)
    for _ in range(3):
        assert taken(tokens, issuer.token())
    [warning] = [record for record in caplog.records if record.levelno == logging.WARNING]
    assert "the keys before stay" in warning.getMessage()
    write_key_set(file, next_one.public_key())
    assert taken(tokens, next_one.token())


def test_a_file_that_did_not_change_is_not_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = write_key_set(tmp_path / "keys.json", Issuer().public_key())
    keys = IssuerKeys(file)
    monkeypatch.setattr("limbtier.interop.key_set.read_key_set", lambda _: pytest.fail("it was read"))
    assert set(keys.current()) == {("first", "ES256")}
    assert keys.current() is keys.current()
    os.utime(file, ns=(0, 0))
    with pytest.raises(BaseException, match="it was read"):
        keys.current()


def test_a_key_id_never_becomes_a_path(tmp_path: Path) -> None:
    file = write_key_set(tmp_path / "keys.json", Issuer().public_key())
    (tmp_path / "other.json").write_text(json.dumps(Issuer("other").public_key()))
    tokens = reader(file)
    for name in ("other.json", "./other.json", str(tmp_path / "other.json"), "other"):
        with pytest.raises(TokenRefused, match="token-key-unknown"):
            tokens.caller(Issuer(name).token())
