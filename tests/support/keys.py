"""Local keys of an invented organisation, kept in memory."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from limbtier.domain.caller import ROLES, SCOPES, StoredKey
from limbtier.domain.entry import Also
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import StoreUnavailable
from limbtier.use_cases.authorise import key_text, secret_hash

ORGANISATION = "quillerbeck"
ADDED = datetime(2026, 3, 1, tzinfo=UTC)


class KeysInMemory:
    """A store of keys that begins with one that may do everything and one of each role. `fails` makes it
    unavailable; `reads` counts how often it was read; `changed` is called when a key is made."""

    def __init__(self) -> None:
        self._keys: dict[str, StoredKey] = {}
        self.fails = False
        self.reads = 0
        self.changed: Callable[[], None] = lambda: None
        self.everything = self.make("everything", SCOPES)
        self.of_role = {role: self.make(role, scopes) for role, scopes in ROLES.items()}

    def make(self, role: str, scopes: Iterable[str], organisation: str = ORGANISATION) -> str:
        """Add a key and give its text. Ids and secrets are counted up, so that every run is alike."""
        number = len(self._keys) + 1
        key_id, secret = f"{number:012x}", f"{number:064x}"
        self.add(StoredKey(key_id, secret_hash(secret), organisation, role, frozenset(scopes), ADDED))
        self.changed()
        return key_text(key_id, secret)

    def add(self, key: StoredKey) -> None:
        """Keep a new key."""
        self._check()
        assert key.id not in self._keys
        self._keys[key.id] = key

    def adding(self, key: StoredKey) -> Also:
        """Keep a new key with an entry."""
        return lambda _cursor, _position: self.add(key)

    def revoking(self, key_id: str, at: datetime) -> Also:
        """Mark a key as revoked with an entry."""
        return lambda _cursor, _position: self.revoke(key_id, at)

    def revoke(self, key_id: str, at: datetime) -> None:
        """Mark a key as revoked."""
        self._check()
        key = self._keys.get(key_id)
        if key is not None and key.revoked_at is None:
            self._keys[key_id] = replace(key, revoked_at=at)

    def all(self) -> Sequence[StoredKey]:
        """Every key."""
        self._check()
        self.reads += 1
        return list(self._keys.values())

    def _check(self) -> None:
        if self.fails:
            raise StoreUnavailable([Diagnostic("store-unavailable", "It fails here.", "Wait.")])


def id_of(key: str) -> str:
    """The id within the text of a key."""
    return key.split("_")[1]
