"""Adding, listing and revoking keys, and the entries of the log that say so."""

from __future__ import annotations

from datetime import UTC, datetime

import orjson
import pytest

from limbtier.domain.caller import ROLES, is_organisation
from limbtier.domain.entry import Entry
from limbtier.foundation.canonical_json import is_canonical
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import StoreUnavailable
from limbtier.interop.bearer_tokens import TokenRefused
from limbtier.store.faults import Conflict
from limbtier.use_cases.authorise import Authoriser
from limbtier.use_cases.manage_keys import KeyManager, KeyRefused
from tests.support.keys import KeysInMemory

MOMENT = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


class Managed:
    """A manager, with what is behind it. `log_fails` makes the log unavailable."""

    def __init__(self) -> None:
        self.store = KeysInMemory()
        self.entries: list[Entry] = []
        self.log_fails = False
        ids = iter(f"00000000-0000-4000-8000-{number:012d}" for number in range(100))
        self.manager = KeyManager(self.store, self.log, lambda: MOMENT, lambda: next(ids))
        self.authoriser = Authoriser(self.store)

    def log(self, entry: Entry) -> None:
        if self.log_fails:
            raise StoreUnavailable([Diagnostic("store-unavailable", "It fails here.", "Wait.")])
        if any(entry.id == one.id for one in self.entries):
            raise Conflict([Diagnostic("store-unavailable", "An entry with this id is there.", "Wait.")])
        if entry.also is not None:
            entry.also(None, len(self.entries))
        self.entries.append(entry)

    def works(self, key: str) -> bool:
        self.authoriser.refresh()
        try:
            self.authoriser.caller(key)
        except TokenRefused:
            return False
        return True


@pytest.fixture
def managed() -> Managed:
    return Managed()


@pytest.mark.parametrize("role", ROLES)
def test_an_added_key_works_with_the_scopes_of_its_role_until_it_is_revoked(
    managed: Managed, role: str
) -> None:
    key, text = managed.manager.add(role, "wren")
    assert managed.works(text)
    caller = managed.authoriser.caller(text)
    assert (caller.id, caller.organisation, caller.scopes) == (f"key:{key.id}", "wren", ROLES[role])
    managed.manager.revoke(key.id)
    assert not managed.works(text)


def test_no_two_keys_are_alike_and_no_secret_is_kept_or_logged(managed: Managed) -> None:
    made = [managed.manager.add("integrator", "wren") for _ in range(50)]
    assert len({text for _, text in made}) == 50
    assert len({key.id for key, _ in made}) == 50
    kept = repr(managed.store.all()) + repr(managed.entries)
    for key, text in made:
        secret = text.split("_")[2]
        assert len(bytes.fromhex(secret)) == 32
        assert secret not in kept
        assert key.id in kept
        assert key.hash not in b"".join(entry.data for entry in managed.entries)


def test_adding_and_revoking_are_entries_of_the_log(managed: Managed) -> None:
    key, _ = managed.manager.add("auditor", "wren")
    managed.manager.revoke(key.id)
    added, revoked = managed.entries
    caller = {"id": "operator", "organisation": None}
    at = "2026-03-02T09:30:00+00:00"
    assert orjson.loads(added.data) == {
        "kind": "key_added",
        "id": "00000000-0000-4000-8000-000000000000",
        "at": at,
        "caller": caller,
        "key": key.id,
        "organisation": "wren",
        "role": "auditor",
        "scopes": ["audit", "read"],
    }
    assert orjson.loads(revoked.data) == {
        "kind": "key_revoked",
        "id": f"key_revoked:{key.id}",
        "at": at,
        "caller": caller,
        "key": key.id,
    }
    for entry in managed.entries:
        record = orjson.loads(entry.data)
        assert is_canonical(entry.data)
        assert (entry.kind, entry.id, entry.at) == (record["kind"], record["id"], MOMENT)
        assert entry.organisation == "wren"


def test_a_key_that_the_log_cannot_take_is_not_added(managed: Managed) -> None:
    before = managed.store.all()
    managed.log_fails = True
    with pytest.raises(StoreUnavailable):
        managed.manager.add("integrator", "wren")
    assert managed.store.all() == before


def test_a_key_is_revoked_even_if_the_log_cannot_take_it(managed: Managed) -> None:
    key, text = managed.manager.add("integrator", "wren")
    managed.log_fails = True
    with pytest.raises(StoreUnavailable):
        managed.manager.revoke(key.id)
    assert not managed.works(text)


def test_revoking_again_makes_the_entry_that_is_missing_and_never_a_second(managed: Managed) -> None:
    key, _ = managed.manager.add("integrator", "wren")
    managed.log_fails = True
    with pytest.raises(StoreUnavailable):
        managed.manager.revoke(key.id)
    managed.log_fails = False
    assert managed.manager.revoke(key.id).id == key.id
    with pytest.raises(KeyRefused, match="revoked on 2026-03-02"):
        managed.manager.revoke(key.id)
    assert [entry.kind for entry in managed.entries] == ["key_added", "key_revoked"]


def test_renewing_gives_one_key_of_each_role_and_revokes_those_before(managed: Managed) -> None:
    _, other = managed.manager.add("integrator", "wren")
    first = managed.manager.renew("kestrel")
    second = managed.manager.renew("kestrel")
    assert list(first) == list(second) == list(ROLES)
    assert [managed.works(text) for text in first.values()] == [False] * 4
    assert [managed.works(text) for text in second.values()] == [True] * 4
    assert managed.works(other)
    kinds = [entry.kind for entry in managed.entries]
    assert kinds == ["key_added"] * 5 + ["key_revoked"] * 4 + ["key_added"] * 4


def test_everything_wrong_with_a_new_key_is_named_at_once(managed: Managed) -> None:
    with pytest.raises(KeyRefused) as caught:
        managed.manager.add("integrater", "a b")
    found = [(item.code, item.help) for item in caught.value.diagnostics]
    assert found[0] == ("unknown-role", "Did you mean `integrator`?")
    assert found[1][0] == "bad-organisation"
    assert managed.entries == []


def test_a_key_that_is_not_there_or_revoked_already_cannot_be_revoked(managed: Managed) -> None:
    key, _ = managed.manager.add("integrator", "wren")
    for name, code in ((key.id[:-1], "unknown-key"), ("", "unknown-key")):
        with pytest.raises(KeyRefused) as caught:
            managed.manager.revoke(name)
        assert [item.code for item in caught.value.diagnostics] == [code]
    managed.manager.revoke(key.id)
    with pytest.raises(KeyRefused) as caught:
        managed.manager.revoke(key.id)
    assert [item.code for item in caught.value.diagnostics] == ["key-already-revoked"]
    assert "2026-03-02" in str(caught.value)
    assert [entry.kind for entry in managed.entries] == ["key_added", "key_revoked"]


@pytest.mark.parametrize(
    ("name", "usable"),
    [
        ("quillerbeck", True),
        ("R1A", True),
        ("0", True),
        ("a" * 64, True),
        ("a" * 65, False),
        ("", False),
        ("-a", False),
        ("a b", False),
        ("a\n", False),
        ("ä", False),
        ("a/b", False),
    ],
)
def test_an_organisation_has_a_plain_name(name: str, usable: bool) -> None:
    assert is_organisation(name) is usable
