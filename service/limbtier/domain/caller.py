"""Who calls the service, what it may do, and the local keys that callers are known by."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Protocol

from limbtier.domain.entry import Also

DECIDE: Final = "decide"
READ: Final = "read"
EDIT: Final = "edit"
APPROVE: Final = "approve"
AUDIT: Final = "audit"

SCOPES: Final = frozenset({DECIDE, READ, EDIT, APPROVE, AUDIT})
"""Everything a caller may be allowed. A token may name other scopes, too; they mean nothing here."""

ROLES: Final[Mapping[str, frozenset[str]]] = {
    "integrator": frozenset({DECIDE, READ}),
    "editor": frozenset({EDIT, READ}),
    "approver": frozenset({APPROVE, READ}),
    "auditor": frozenset({AUDIT, READ}),
}
"""What the holder of a local key may do, by its role."""

ORGANISATION_PATTERN: Final = r"^[A-Za-z0-9][A-Za-z0-9._~-]{0,63}$"
_ORGANISATION: Final = re.compile(ORGANISATION_PATTERN.removesuffix("$") + r"\Z")


def is_organisation(name: str) -> bool:
    """Whether a text can be the name of an organisation: 1 to 64 letters, digits, and `. _ ~ -`, beginning
    with a letter or a digit."""
    return _ORGANISATION.match(name) is not None


@dataclass(frozen=True, slots=True)
class Caller:
    """A caller whose token was accepted. `id` is never a person's name; `organisation` owns its decisions."""

    id: str
    organisation: str
    scopes: frozenset[str]


@dataclass(frozen=True, slots=True)
class StoredKey:
    """A local key as it is kept: the SHA-256 of its secret (32 bytes), never the secret itself."""

    id: str
    hash: bytes
    organisation: str
    role: str
    scopes: frozenset[str]
    added_at: datetime
    revoked_at: datetime | None = None


class KeyStore(Protocol):
    """Where local keys are kept. Every method raises StoreUnavailable."""

    def adding(self, key: StoredKey) -> Also:
        """Keeps a new key together with an entry; its id must not be there yet."""

    def revoking(self, key_id: str, at: datetime) -> Also:
        """The same as `revoke`, together with an entry."""

    def revoke(self, key_id: str, at: datetime) -> None:
        """Mark a key as revoked; one that is already keeps its moment, and an unknown id changes nothing."""

    def all(self) -> Sequence[StoredKey]:
        """Every key, revoked ones too, in the order in which they were added."""
