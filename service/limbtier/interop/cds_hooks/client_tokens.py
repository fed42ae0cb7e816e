"""The signed tokens with which clients call (CDS Hooks 2.0, "Trusting CDS Clients").

A token names its issuer, which must be on the list; is signed with one of the keys that are kept for that
issuer; is made for the very address that is called; lives for a short time; and is taken once.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

from limbtier.domain.caller import DECIDE, Caller
from limbtier.foundation.clock import Clock, now
from limbtier.interop.bearer_tokens import (
    LEEWAY_SECONDS,
    LONGEST_TOKEN,
    TokenRefused,
    claims_unchecked,
    seconds_of,
    signed_parts,
)
from limbtier.interop.cds_hooks.client_list import CdsClient, read_client_list

LONGEST_LIFE_SECONDS: Final = 3600
"""How far ahead a token may expire. CDS Hooks sets no limit; until a token expires its id is remembered."""
MOST_REMEMBERED: Final = 100_000
"""Ids of tokens remembered at once in one process."""
CALLER_PREFIX: Final = "client:"
"""Begins the id of a caller that is a CDS client; its issuer follows."""

_TYPES: Final = frozenset({"jwt"})
_TOKEN_ID: Final = re.compile(r"[!-~]{1,255}")


@dataclass(frozen=True, slots=True)
class ClientCall:
    """A client whose token was accepted. `token_id` is good once for this caller."""

    caller: Caller
    token_id: str


class ClientTokens:
    """Reads the tokens of the clients on the list. Used on one event loop, so without a lock."""

    def __init__(self, clients: Mapping[str, CdsClient], base_url: str, clock: Clock = now) -> None:
        """`base_url` is where clients reach the service, without a slash at its end."""
        self._clients = clients
        self._base_url = base_url
        self._clock = clock
        self._used: dict[tuple[str, str], int | Decimal] = {}

    def call(self, token: str, path: str) -> ClientCall:
        """Whom the token speaks for at a path of the service, this once. Raises TokenRefused."""
        if len(token) > LONGEST_TOKEN:
            raise TokenRefused("token-too-long")
        issuer = claims_unchecked(token).get("iss")
        client = self._clients.get(issuer) if isinstance(issuer, str) else None
        if client is None:
            raise TokenRefused("token-issuer")
        header, claims = signed_parts(token, client.keys.current(), _TYPES)
        if "jku" in header and not (isinstance(header["jku"], str) and header["jku"] in client.jku):
            raise TokenRefused("token-key-address")
        audience = claims.get("aud")
        if self._base_url + path not in (audience if isinstance(audience, list) else [audience]):
            raise TokenRefused("token-audience")
        expires = self._expiry(claims)
        token_id = claims.get("jti")
        if not isinstance(token_id, str) or not _TOKEN_ID.fullmatch(token_id):
            raise TokenRefused("token-id")
        caller = Caller(CALLER_PREFIX + client.issuer, _organisation(client, claims), frozenset({DECIDE}))
        self._use((client.issuer, token_id), expires)
        return ClientCall(caller, token_id)

    def _expiry(self, claims: Mapping[str, Any]) -> int | Decimal:
        present = self._clock().timestamp()
        expires, issued = seconds_of(claims, "exp"), seconds_of(claims, "iat")
        if expires is None:
            raise TokenRefused("token-never-expires")
        if issued is None:
            raise TokenRefused("token-time")
        if expires <= present - LEEWAY_SECONDS:
            raise TokenRefused("token-expired")
        if expires > present + LEEWAY_SECONDS + LONGEST_LIFE_SECONDS:
            raise TokenRefused("token-lives-too-long")
        if issued > present + LEEWAY_SECONDS:
            raise TokenRefused("token-issued-in-future")
        begins = seconds_of(claims, "nbf")
        if begins is not None and begins > present + LEEWAY_SECONDS:
            raise TokenRefused("token-not-yet-valid")
        return expires

    def _use(self, name: tuple[str, str], expires: int | Decimal) -> None:
        """Note that a token was used. When no more can be noted, none is taken: one that came twice could not
        be told from a new one."""
        if name in self._used:
            raise TokenRefused("token-replayed")
        if len(self._used) >= MOST_REMEMBERED:
            past = self._clock().timestamp() - LEEWAY_SECONDS
            self._used = {one: end for one, end in self._used.items() if end > past}
            if len(self._used) >= MOST_REMEMBERED:
                raise TokenRefused("token-memory-full")
        self._used[name] = expires


def _organisation(client: CdsClient, claims: Mapping[str, Any]) -> str:
    """The organisation of a tenant; where a client has none, its own. A tenant that is not on the list is
    refused: its decisions would be mixed with those of another."""
    if client.organisation is not None and "tenant" not in claims:
        return client.organisation
    tenant = claims.get("tenant")
    organisation = client.tenants.get(tenant) if isinstance(tenant, str) else None
    if organisation is None:
        raise TokenRefused("token-tenant")
    return organisation


def client_tokens(file: Path | None, base_url: str | None, clock: Clock = now) -> ClientTokens | None:
    """The tokens of the clients of a list; None where there is no list. Raises InvalidSettings."""
    if file is None or base_url is None:
        return None
    return ClientTokens(read_client_list(file), base_url, clock)
