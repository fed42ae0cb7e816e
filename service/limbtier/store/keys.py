"""The local keys that callers are known by, in the database."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import bindparam, select, update

from limbtier.domain.caller import StoredKey
from limbtier.domain.entry import Also
from limbtier.store.database import Cursor, Database, Row
from limbtier.store.tables import keys, microseconds, moment_of


class KeyTable:
    """A `domain.caller.KeyStore`. Every method raises StoreUnavailable."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._find = database.text(select(keys).where(keys.c.id == bindparam("key_id")))
        self._all = database.text(select(keys).order_by(keys.c.added_at, keys.c.id))
        self._revoke = database.text(
            update(keys)
            .values(revoked_at=bindparam("at"))
            .where(keys.c.id == bindparam("key_id"), keys.c.revoked_at.is_(None))
        )

    def adding(self, key: StoredKey) -> Also:
        """Keeps a new key together with an entry, which meets Conflict when its id is there already."""
        row = (
            key.id,
            key.hash,
            key.organisation,
            key.role,
            " ".join(sorted(key.scopes)),
            microseconds(key.added_at),
            None if key.revoked_at is None else microseconds(key.revoked_at),
        )
        return lambda cursor, _position: self._database.insert(cursor, keys, [row])

    def find(self, key_id: str) -> StoredKey | None:
        """The key with an id, a revoked one too; None where there is none."""
        rows = self._database.rows(self._find, key_id)
        return _key(rows[0]) if rows else None

    def revoke(self, key_id: str, at: datetime) -> None:
        """Mark a key as revoked; one that is already keeps its moment, and an unknown id changes nothing."""
        with self._database.writing() as cursor:
            cursor.execute(self._revoke, (microseconds(at), key_id))

    def revoking(self, key_id: str, at: datetime) -> Also:
        """The same, together with an entry."""

        def revoke(cursor: Cursor, _position: int) -> None:
            cursor.execute(self._revoke, (microseconds(at), key_id))

        return revoke

    def all(self) -> Sequence[StoredKey]:
        """Every key, revoked ones too, by the moment at which it was added."""
        return [_key(row) for row in self._database.rows(self._all)]


def _key(row: Row) -> StoredKey:
    key_id, secret_hash, organisation, role, scopes, added_at, revoked_at = row
    return StoredKey(
        key_id,
        secret_hash,
        organisation,
        role,
        frozenset(scopes.split()),
        moment_of(added_at),
        None if revoked_at is None else moment_of(revoked_at),
    )
