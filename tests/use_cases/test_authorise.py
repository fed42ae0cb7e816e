"""Local keys: who is let in, who is not, and when an added or revoked key counts."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.domain.caller import ROLES, SCOPES
from limbtier.foundation.errors import StoreUnavailable
from limbtier.interop.bearer_tokens import TokenRefused
from limbtier.use_cases.authorise import LONGEST_UNREAD_SECONDS, REFRESH_SECONDS, Authoriser
from tests.support.keys import ORGANISATION, KeysInMemory, id_of
from tests.support.tokens import Issuer, reader, write_key_set

LATER = datetime(2026, 3, 2, tzinfo=UTC)


class Seconds:
    """A clock that stands until a test moves it."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def keys() -> KeysInMemory:
    return KeysInMemory()


@pytest.fixture
def seconds() -> Seconds:
    return Seconds()


@pytest.fixture
def authoriser(keys: KeysInMemory, seconds: Seconds) -> Authoriser:
    found = Authoriser(keys, seconds=seconds)
    found.refresh()
    return found


def refusal(authoriser: Authoriser, token: str) -> str:
    with pytest.raises(TokenRefused) as caught:
        authoriser.caller(token)
    return caught.value.reason


def test_a_key_names_its_caller_organisation_and_the_scopes_of_its_role(
    authoriser: Authoriser, keys: KeysInMemory
) -> None:
    for role, key in keys.of_role.items():
        caller = authoriser.caller(key)
        assert caller.id == f"key:{id_of(key)}"
        assert caller.organisation == ORGANISATION
        assert caller.scopes == ROLES[role]


def test_no_role_may_both_decide_and_change_or_approve_rules() -> None:
    assert set().union(*ROLES.values()) == SCOPES
    assert [role for role, scopes in ROLES.items() if {"edit", "approve"} <= scopes] == []
    assert [role for role, scopes in ROLES.items() if "decide" in scopes] == ["integrator"]


def test_the_right_id_with_a_wrong_secret_is_refused(authoriser: Authoriser, keys: KeysInMemory) -> None:
    one, other = keys.of_role["editor"], keys.of_role["auditor"]
    mixed = f"lt_{id_of(one)}_{other.split('_')[2]}"
    assert refusal(authoriser, mixed) == "key-wrong-secret"
    assert refusal(authoriser, one[:-1] + ("0" if one[-1] != "0" else "1")) == "key-wrong-secret"


def test_an_unknown_id_is_refused_whatever_the_secret(authoriser: Authoriser, keys: KeysInMemory) -> None:
    for secret in ("0" * 64, keys.everything.split("_")[2]):
        assert refusal(authoriser, f"lt_ffffffffffff_{secret}") == "key-unknown"


@pytest.mark.parametrize(
    "change",
    [
        str.upper,
        lambda key: key + "0",
        lambda key: key[:-1],
        lambda key: key + "\n",
        lambda key: " " + key,
        lambda key: key.replace("_", "-"),
        lambda key: key + "_x",
        lambda key: f"lt_{key}",
        lambda key: key.rpartition("_")[0] + "_",
        lambda _: "lt_",
        lambda _: "lt__",
        lambda key: key.rpartition("_")[0] + "_" + "٠" * 64,
        lambda key: f"lt_' OR 1=1_{key.rpartition('_')[2]}",
    ],
)
def test_what_has_not_the_form_of_a_key_is_refused(
    authoriser: Authoriser,
    keys: KeysInMemory,
    change: object,
) -> None:
    assert callable(change)
    assert refusal(authoriser, change(keys.everything)) in ("key-form", "no-issuer-configured")


@given(text=st.text())
def test_any_text_is_refused_without_any_other_error(text: str) -> None:
    authoriser = Authoriser(KeysInMemory())
    authoriser.refresh()
    assert refusal(authoriser, text)
    assert refusal(authoriser, f"lt_{text}")


def test_nothing_is_kept_from_which_a_secret_could_be_read(
    authoriser: Authoriser, keys: KeysInMemory
) -> None:
    secrets = [key.split("_")[2] for key in (keys.everything, *keys.of_role.values())]
    kept = repr(keys.all()) + repr(vars(authoriser))
    assert [secret for secret in secrets if secret in kept or bytes.fromhex(secret).hex() in kept] == []


def test_signed_tokens_are_taken_beside_keys_only_where_an_issuer_is_set(
    keys: KeysInMemory, authoriser: Authoriser, tmp_path: Path
) -> None:
    issuer = Issuer()
    assert refusal(authoriser, issuer.token()) == "no-issuer-configured"
    both = Authoriser(keys, reader(write_key_set(tmp_path / "keys.json", issuer.public_key())))
    both.refresh()
    assert both.caller(issuer.token()).id == "token:contact-form"
    assert both.caller(keys.everything).scopes == SCOPES


# When a change counts.


def test_requests_cost_no_read_of_the_store_until_the_keys_are_old(
    authoriser: Authoriser, keys: KeysInMemory, seconds: Seconds
) -> None:
    for _ in range(100):
        authoriser.caller(keys.everything)
        refusal(authoriser, f"lt_ffffffffffff_{'0' * 64}")
    assert keys.reads == 1
    assert not authoriser.is_stale()
    seconds.now += REFRESH_SECONDS + 0.001
    assert authoriser.is_stale()


def test_a_key_added_or_revoked_elsewhere_counts_after_the_next_reading(
    authoriser: Authoriser, keys: KeysInMemory
) -> None:
    new = keys.make("integrator", ROLES["integrator"], "wren")
    keys.revoke(id_of(keys.everything), LATER)
    assert refusal(authoriser, new) == "key-unknown"
    assert authoriser.caller(keys.everything).organisation == ORGANISATION
    authoriser.refresh()
    assert authoriser.caller(new).organisation == "wren"
    assert refusal(authoriser, keys.everything) == "key-revoked"


def test_a_revoked_key_with_a_wrong_secret_is_told_as_a_wrong_secret(
    authoriser: Authoriser, keys: KeysInMemory
) -> None:
    keys.revoke(id_of(keys.everything), LATER)
    authoriser.refresh()
    assert refusal(authoriser, keys.everything[:-1] + "f") == "key-wrong-secret"


def test_a_change_by_this_process_makes_reading_due_at_once(authoriser: Authoriser) -> None:
    authoriser.forget()
    assert authoriser.is_stale()
    authoriser.refresh()
    assert not authoriser.is_stale()


def test_before_the_first_reading_nobody_is_let_in(keys: KeysInMemory) -> None:
    authoriser = Authoriser(keys)
    assert authoriser.is_stale()
    assert refusal(authoriser, keys.everything) == "key-unknown"


def test_while_the_store_fails_the_keys_last_read_count_for_a_while_and_no_longer(
    authoriser: Authoriser, keys: KeysInMemory, seconds: Seconds
) -> None:
    keys.fails = True
    seconds.now += LONGEST_UNREAD_SECONDS
    authoriser.refresh()
    assert not authoriser.is_stale()  # it is not tried again at every request
    assert authoriser.caller(keys.everything).scopes == SCOPES
    seconds.now += REFRESH_SECONDS + 0.001
    assert authoriser.is_stale()
    with pytest.raises(StoreUnavailable):
        authoriser.refresh()
    assert authoriser.is_stale()
    keys.fails = False
    authoriser.refresh()
    assert authoriser.caller(keys.everything).scopes == SCOPES
