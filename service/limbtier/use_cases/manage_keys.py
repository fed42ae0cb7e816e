"""Adds, lists and revokes local keys; every change becomes an entry of the log."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from typing import Any

from limbtier.domain.caller import ROLES, KeyStore, StoredKey, is_organisation
from limbtier.domain.entry import Also, Entry
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.clock import Clock, NewId, new_id, now
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import LimbtierError, StoreUnavailable
from limbtier.store.faults import Conflict
from limbtier.use_cases.authorise import key_text, secret_hash

OPERATOR = "operator"
"""Who acts on the command line, in the log."""


class KeyRefused(LimbtierError):
    """A key cannot be added or revoked as asked; nothing was changed."""

    code = "key-refused"


class KeyManager:
    """`log` keeps an entry, and what changes with it, durably before it returns; or it keeps neither and
    raises StoreUnavailable, Conflict where there is an entry with the id. `store` is in the same database."""

    def __init__(
        self,
        store: KeyStore,
        log: Callable[[Entry], object],
        clock: Clock = now,
        identifiers: NewId = new_id,
    ) -> None:
        self._store = store
        self._log = log
        self._clock = clock
        self._identifiers = identifiers

    def add(self, role: str, organisation: str) -> tuple[StoredKey, str]:
        """A new key, and its text, which is nowhere afterwards. Raises KeyRefused, naming all that is wrong,
        or StoreUnavailable."""
        faults: list[Diagnostic] = []
        if role not in ROLES:
            advice = did_you_mean(role, ROLES, f"Use one of {', '.join(ROLES)}.")
            faults.append(Diagnostic("unknown-role", "There is no such role.", advice))
        if not is_organisation(organisation):
            advice = "Use 1 to 64 letters, digits, and . _ ~ - beginning with a letter or a digit."
            faults.append(Diagnostic("bad-organisation", "No organisation can have this name.", advice))
        if faults:
            raise KeyRefused(faults)
        secret = secrets.token_hex(32)
        scopes = ROLES[role]
        key = StoredKey(secrets.token_hex(6), secret_hash(secret), organisation, role, scopes, self._clock())
        entry_id = self._identifiers()
        added = {"organisation": organisation, "role": role, "scopes": sorted(scopes)}
        self._log(self._entry("key_added", key, entry_id, self._store.adding(key), **added))
        return key, key_text(key.id, secret)

    def revoke(self, key_id: str) -> StoredKey:
        """Take a key out of use for good. Raises KeyRefused or StoreUnavailable; the key has ended also when
        the log could not take the entry."""
        keys = {key.id: key for key in self._store.all()}
        key = keys.get(key_id)
        if key is None:
            advice = did_you_mean(key_id, keys, "`limbtier keys list` shows the ids.")
            raise KeyRefused([Diagnostic("unknown-key", "There is no key with this id.", advice)])
        # The id of the entry lets there be only one.
        also = self._store.revoking(key_id, self._clock())
        try:
            self._log(self._entry("key_revoked", key, f"key_revoked:{key.id}", also))
        except StoreUnavailable as error:
            # A key that is to be revoked stops working also when the log cannot take it, or says that it was
            # revoked before. An entry that is missing then is made when the key is revoked again.
            if key.revoked_at is None:
                self._store.revoke(key_id, self._clock())
            if not isinstance(error, Conflict):
                raise
            message = "The key was revoked before."
            if key.revoked_at is not None:
                message = f"The key was revoked on {key.revoked_at:%Y-%m-%d}."
            raise KeyRefused(
                [Diagnostic("key-already-revoked", message, "There is nothing left to do.")]
            ) from None
        return key

    def renew(self, organisation: str) -> dict[str, str]:
        """A new key of each role for an organisation, whose keys until now are revoked: their texts by role.
        Raises as `add` and `revoke`."""
        for key in self._store.all():
            if key.organisation == organisation and key.revoked_at is None:
                self.revoke(key.id)
        return {role: self.add(role, organisation)[1] for role in ROLES}

    def all(self) -> Sequence[StoredKey]:
        """Every key, revoked ones too. Raises StoreUnavailable."""
        return self._store.all()

    def _entry(self, kind: str, key: StoredKey, entry_id: str, also: Also, **more: Any) -> Entry:
        at = self._clock()
        record = {
            "kind": kind,
            "id": entry_id,
            "at": at.isoformat(),
            "caller": {"id": OPERATOR, "organisation": None},
            "key": key.id,
            **more,
        }
        return Entry(kind, entry_id, key.organisation, at, canonical(record), also=also)
