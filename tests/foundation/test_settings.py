"""Settings of a deployment are checked at start, and every fault is named."""

from __future__ import annotations

from pathlib import Path

import pytest

from limbtier.domain.caller import is_organisation
from limbtier.foundation.settings import InvalidSettings, read_settings


def test_an_empty_environment_serves_the_rules_of_the_checkout() -> None:
    settings = read_settings({})
    assert (settings.rules / "core").is_dir()
    assert settings.most_body_bytes == 65536


def test_every_bad_setting_is_named_at_once(tmp_path: Path) -> None:
    with pytest.raises(InvalidSettings) as caught:
        read_settings(
            {
                "LIMBTIER_RULES": str(tmp_path / "nowhere"),
                "LIMBTIER_DATABASE": str(tmp_path / "no" / "file"),
                "LIMBTIER_MOST_BODY_BYTES": "lots",
            }
        )
    messages = [item.message for item in caught.value.diagnostics]
    assert [message.split(":")[0] for message in messages] == [
        "LIMBTIER_RULES",
        "LIMBTIER_DATABASE",
        "LIMBTIER_MOST_BODY_BYTES",
    ]


@pytest.mark.parametrize("length", ["0", "-1", "1023", "99999999", "1e5", "٦٥٥٣٦"])
def test_a_length_that_is_no_sensible_number_of_bytes_is_refused(length: str) -> None:
    with pytest.raises(InvalidSettings):
        read_settings({"LIMBTIER_MOST_BODY_BYTES": length})


# Signed tokens, and keys for safe retries.


def test_without_token_settings_no_signed_token_is_taken_and_no_retry_key_is_required() -> None:
    settings = read_settings({})
    assert settings.tokens is None
    assert settings.require_idempotency_key is False


def test_token_settings_are_taken_together(tmp_path: Path) -> None:
    file = tmp_path / "keys.json"
    file.write_text("{}")
    environment = {
        "LIMBTIER_TOKEN_ISSUER": "https://issuer.example/",
        "LIMBTIER_TOKEN_AUDIENCE": "https://limbtier.example/",
        "LIMBTIER_TOKEN_KEYS": str(file),
    }
    tokens = read_settings(environment).tokens
    assert tokens is not None
    assert (tokens.issuer, tokens.audience) == ("https://issuer.example/", "https://limbtier.example/")
    assert (tokens.keys, tokens.organisation_claim) == (file, "organisation")
    named = read_settings({**environment, "LIMBTIER_TOKEN_ORGANISATION_CLAIM": "tenant"}).tokens
    assert named is not None
    assert named.organisation_claim == "tenant"
    for left_out in environment:
        with pytest.raises(InvalidSettings) as caught:
            read_settings({name: value for name, value in environment.items() if name != left_out})
        assert [item.message.split(":")[0] for item in caught.value.diagnostics] == [left_out]


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("LIMBTIER_TOKEN_KEYS", "nowhere.json"),
        ("LIMBTIER_TOKEN_ORGANISATION_CLAIM", ""),
        ("LIMBTIER_REQUIRE_IDEMPOTENCY_KEY", "true"),
        ("LIMBTIER_REQUIRE_IDEMPOTENCY_KEY", ""),
    ],
)
def test_a_bad_token_setting_is_named(tmp_path: Path, name: str, value: str) -> None:
    file = tmp_path / "keys.json"
    file.write_text("{}")
    environment = {
        "LIMBTIER_TOKEN_ISSUER": "https://issuer.example/",
        "LIMBTIER_TOKEN_AUDIENCE": "https://limbtier.example/",
        "LIMBTIER_TOKEN_KEYS": str(file),
        name: value,
    }
    with pytest.raises(InvalidSettings) as caught:
        read_settings(environment)
    assert [item.message.split(":")[0] for item in caught.value.diagnostics] == [name]


def test_the_rule_set_that_decides_is_core_unless_another_is_named() -> None:
    assert read_settings({}).rule_set == "core"
    assert read_settings({"LIMBTIER_RULE_SET": "quillerbeck"}).rule_set == "quillerbeck"
    with pytest.raises(InvalidSettings, match="LIMBTIER_RULE_SET"):
        read_settings({"LIMBTIER_RULE_SET": "../core"})


def test_a_retry_key_can_be_required() -> None:
    assert read_settings({"LIMBTIER_REQUIRE_IDEMPOTENCY_KEY": "yes"}).require_idempotency_key is True


def test_how_long_a_log_may_go_unsigned_is_bounded() -> None:
    assert read_settings({}).signing_grace_seconds == 900
    assert read_settings({"LIMBTIER_SIGNING_GRACE_SECONDS": "0"}).signing_grace_seconds == 0
    for value in ("", "-1", "86401", "1e3", "9" * 5000):
        with pytest.raises(InvalidSettings, match="LIMBTIER_SIGNING_GRACE_SECONDS"):
            read_settings({"LIMBTIER_SIGNING_GRACE_SECONDS": value})


def test_cds_hooks_clients_and_origins_are_read(tmp_path: Path) -> None:
    file = tmp_path / "clients.json"
    file.write_text("{}")
    settings = read_settings(
        {
            "LIMBTIER_BASE_URL": "https://limbtier.example/at/here",
            "LIMBTIER_CDS_CLIENTS": str(file),
            "LIMBTIER_CDS_ORIGINS": "https://one.example http://localhost:8080",
        }
    )
    assert (settings.base_url, settings.cds_clients) == ("https://limbtier.example/at/here", file)
    assert settings.cds_origins == ("https://one.example", "http://localhost:8080")
    assert (read_settings({}).base_url, read_settings({}).cds_origins) == (None, ())


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("LIMBTIER_BASE_URL", "https://limbtier.example/"),
        ("LIMBTIER_BASE_URL", "limbtier.example"),
        ("LIMBTIER_BASE_URL", "https://user@limbtier.example"),
        ("LIMBTIER_BASE_URL", "https://limbtier.example?x=1"),
        ("LIMBTIER_BASE_URL", ""),
        ("LIMBTIER_CDS_CLIENTS", "nowhere.json"),
        ("LIMBTIER_CDS_ORIGINS", "*"),
        ("LIMBTIER_CDS_ORIGINS", "https://one.example/"),
        ("LIMBTIER_CDS_ORIGINS", "https://one.example,https://two.example"),
        ("LIMBTIER_CDS_ORIGINS", "null"),
    ],
)
def test_a_bad_setting_of_cds_hooks_is_named(tmp_path: Path, name: str, value: str) -> None:
    file = tmp_path / "clients.json"
    file.write_text("{}")
    good = {"LIMBTIER_BASE_URL": "https://limbtier.example", "LIMBTIER_CDS_CLIENTS": str(file)}
    with pytest.raises(InvalidSettings) as caught:
        read_settings({**good, name: value})
    assert [item.message.split(":")[0] for item in caught.value.diagnostics] == [name]


@pytest.mark.parametrize("value", ["", "two words", "-first", "x" * 65])
def test_the_governing_organisation_has_a_name_that_keys_can_have(value: str) -> None:
    with pytest.raises(InvalidSettings) as caught:
        read_settings({"LIMBTIER_GOVERNING_ORGANISATION": value})
    assert "LIMBTIER_GOVERNING_ORGANISATION" in caught.value.diagnostics[0].message
    assert not is_organisation(value)
    good = read_settings({"LIMBTIER_GOVERNING_ORGANISATION": "quillerbeck"})
    assert (good.governing_organisation, read_settings({}).governing_organisation) == ("quillerbeck", None)
