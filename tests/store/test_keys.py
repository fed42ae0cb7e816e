"""Keeping local keys, on both databases."""

from __future__ import annotations

from datetime import timedelta

import pytest

from limbtier.domain.caller import KeyStore, StoredKey
from limbtier.store.database import Database
from limbtier.store.faults import Conflict
from limbtier.store.keys import KeyTable
from tests.support.log_entries import NOON


def key(key_id: str, minutes: int) -> StoredKey:
    scopes = frozenset({"read", "decide"})
    added = NOON + timedelta(minutes=minutes)
    return StoredKey(key_id, b"h" * 32, "quillerbeck", "integrator", scopes, added)


def add(database: Database, new: StoredKey) -> None:
    with database.writing() as cursor:
        KeyTable(database).adding(new)(cursor, 0)


def test_keys_are_kept_found_and_revoked(database: Database) -> None:
    keys: KeyStore = KeyTable(database)
    first, second = key("b", 1), key("a", 2)
    add(database, first)
    add(database, second)
    assert list(keys.all()) == [first, second]
    keys.revoke("b", NOON)
    keys.revoke("b", NOON + timedelta(days=1))
    keys.revoke("unknown", NOON)
    assert [(one.id, one.revoked_at) for one in keys.all()] == [("b", NOON), ("a", None)]


def test_a_key_is_found_by_its_id(database: Database) -> None:
    keys = KeyTable(database)
    add(database, key("a", 1))
    assert keys.find("a") == key("a", 1)
    assert keys.find("b") is None


def test_an_id_that_is_there_is_refused(database: Database) -> None:
    keys = KeyTable(database)
    add(database, key("a", 1))
    with pytest.raises(Conflict):
        add(database, key("a", 2))
    assert list(keys.all()) == [key("a", 1)]
