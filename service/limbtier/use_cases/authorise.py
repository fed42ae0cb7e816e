"""From the token of a request to its caller: a local key or a signed token, and nobody without one.

A local key is `lt_<id>_<secret>`. Its secret is 256 random bits, so a plain SHA-256 of it is safe to keep:
there is nothing to guess that salt or a slow hash would protect. The keys are few; all of them are read every
few seconds, so that a request costs no read and a flood of invented ids costs the store nothing.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import time
from collections.abc import Callable
from typing import Final

from limbtier.domain.caller import Caller, KeyStore
from limbtier.foundation.errors import StoreUnavailable
from limbtier.interop.bearer_tokens import TokenReader, TokenRefused

REFRESH_SECONDS: Final = 2.0
"""A key added or revoked by another process counts here after so long at the latest."""
LONGEST_UNREAD_SECONDS: Final = 300.0
"""While the store cannot be read, the keys last read are taken for so long: previews need no store."""

KEY_PREFIX: Final = "lt_"
CALLER_PREFIX: Final = "key:"
"""Begins the id of a caller with a local key; the id of the key follows."""
_KEY: Final = re.compile(r"lt_([0-9a-f]{12})_([0-9a-f]{64})")
_NO_HASH: Final = bytes(32)
_NOBODY: Final = Caller("", "", frozenset())


def key_text(key_id: str, secret: str) -> str:
    """The key as its holder has it."""
    return f"{KEY_PREFIX}{key_id}_{secret}"


def secret_hash(secret: str) -> bytes:
    """What is kept of a secret."""
    return hashlib.sha256(secret.encode("ascii")).digest()


class Authoriser:
    """Knows the callers. Used by one event loop; `refresh` alone may run in another thread."""

    def __init__(
        self, keys: KeyStore, tokens: TokenReader | None = None, seconds: Callable[[], float] = time.monotonic
    ) -> None:
        """`seconds` is a clock that only goes forward."""
        self._store = keys
        self._tokens = tokens
        self._seconds = seconds
        self._known: dict[str, tuple[bytes, Caller, bool]] = {}
        self._read_at = self._tried_at = float("-inf")

    def is_stale(self) -> bool:
        """Whether `refresh` is due."""
        return self._seconds() - self._tried_at > REFRESH_SECONDS

    def refresh(self) -> None:
        """Read the keys again. Raises StoreUnavailable once those last read are too old to be taken."""
        began = self._seconds()
        try:
            known = {
                key.id: (
                    key.hash,
                    Caller(CALLER_PREFIX + key.id, key.organisation, key.scopes),
                    key.revoked_at is not None,
                )
                for key in self._store.all()
            }
        except StoreUnavailable:
            if began - self._read_at > LONGEST_UNREAD_SECONDS:
                raise
            self._tried_at = self._seconds()
            return
        self._known = known
        self._read_at = self._tried_at = began

    def forget(self) -> None:
        """Make `refresh` due now: a key was added or revoked by this process."""
        self._tried_at = float("-inf")

    def caller(self, token: str) -> Caller:
        """Whom a token speaks for. Raises TokenRefused."""
        if not token.startswith(KEY_PREFIX):
            if self._tokens is None:
                raise TokenRefused("no-issuer-configured")
            return self._tokens.caller(token)
        parts = _KEY.fullmatch(token)
        if parts is None:
            raise TokenRefused("key-form")
        expected, caller, revoked = self._known.get(parts[1], (_NO_HASH, _NOBODY, False))
        # In constant time, and for an unknown id as well: how long it takes tells nothing.
        if not hmac.compare_digest(secret_hash(parts[2]), expected):
            raise TokenRefused("key-unknown" if caller is _NOBODY else "key-wrong-secret")
        if revoked:
            raise TokenRefused("key-revoked")
        return caller
