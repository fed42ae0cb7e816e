"""Signed tokens of an authorisation server: JSON Web Tokens (RFC 7519) signed as RFC 7515 says.

The service is a resource server, as in SMART Backend Services: it checks the signature with the issuer's
configured keys, then issuer, audience, times, organisation and scopes. It makes no tokens and asks no other
server. What a token says of where its key is (`jku`, `jwk`, `x5u`, `x5c`) is never looked at.
"""

from __future__ import annotations

import hashlib
import re
from base64 import urlsafe_b64decode
from collections.abc import Mapping, Set
from decimal import Decimal
from typing import Any, Final

from jwt import PyJWS
from jwt.exceptions import PyJWTError

from limbtier.domain.caller import SCOPES, Caller, is_organisation
from limbtier.foundation.clock import Clock, now
from limbtier.foundation.settings import TokenSettings
from limbtier.foundation.strict_json import NotJson, read_json
from limbtier.interop.key_set import ALGORITHMS, LONGEST_KEY_ID, IssuerKeys, Keys

LONGEST_TOKEN: Final = 8192
"""Bytes; a longer token is refused before it is read."""
LEEWAY_SECONDS: Final = 30
"""By how much the clocks of the issuer and of this machine may differ."""
LONGEST_LIFE_SECONDS: Final = 86_400
"""How far ahead a token may expire. It cannot be revoked, so one that lives longer is refused."""

MOST_REMEMBERED: Final = 1000
"""Tokens remembered as good. A client sends one token many times, and a signature takes up to 0.7 ms."""

_COMPACT: Final = re.compile(r"([A-Za-z0-9_-]+)\.([A-Za-z0-9_-]+)\.[A-Za-z0-9_-]+")
_TYPES: Final = frozenset({"jwt", "at+jwt"})  # RFC 7519, 5.1; RFC 9068, 2.1
_SUBJECT: Final = re.compile(r"[!-~]{1,128}")
_SIGNATURES: Final = PyJWS(algorithms=sorted(ALGORITHMS), options={"enforce_minimum_key_length": True})
CALLER_PREFIX: Final = "token:"
"""Begins the id of a caller with a signed token, so that no issuer can name one of the service's own."""


class TokenRefused(Exception):
    """The token is not accepted. `reason` is a stable code for the log and says nothing of the token."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


class TokenReader:
    """Reads the tokens of one issuer."""

    def __init__(self, settings: TokenSettings, clock: Clock = now) -> None:
        """Read the issuer's keys. Raises InvalidSettings."""
        self._settings = settings
        self._clock = clock
        self._keys = IssuerKeys(settings.keys)
        self._good: dict[bytes, tuple[Caller, int | Decimal]] = {}
        self._good_with = self._keys.current()

    def caller(self, token: str) -> Caller:
        """Whom the token speaks for, with those of its scopes that are known here. Raises TokenRefused."""
        if len(token) > LONGEST_TOKEN:
            raise TokenRefused("token-too-long")
        keys = self._keys.current()
        if keys is not self._good_with or len(self._good) >= MOST_REMEMBERED:
            self._good = {}
            self._good_with = keys
        digest = hashlib.sha256(token.encode("utf-8", "replace")).digest()
        known = self._good.get(digest)
        if known is None:
            known = self._good[digest] = self._checked(token, keys)
        elif self._is_past(known[1]):
            raise TokenRefused("token-expired")
        return known[0]

    def _checked(self, token: str, keys: Keys) -> tuple[Caller, int | Decimal]:
        """The caller, and when the token expires."""
        _, claims = signed_parts(token, keys, _TYPES)
        settings = self._settings
        if claims.get("iss") != settings.issuer:
            raise TokenRefused("token-issuer")
        audience = claims.get("aud")
        if settings.audience not in (audience if isinstance(audience, list) else [audience]):
            raise TokenRefused("token-audience")
        expires = self._expiry(claims)
        # The client where there is one: a subject may be the person who uses it, and who that is does not
        # belong into the record.
        subject = claims.get("client_id", claims.get("sub"))
        if not isinstance(subject, str) or not _SUBJECT.fullmatch(subject):
            raise TokenRefused("token-subject")
        organisation = claims.get(settings.organisation_claim)
        if not isinstance(organisation, str) or not is_organisation(organisation):
            raise TokenRefused("token-organisation")
        scope = claims.get("scope", "")
        if not isinstance(scope, str):
            raise TokenRefused("token-scope")
        known = SCOPES.intersection(scope.split(" "))
        return Caller(CALLER_PREFIX + subject, organisation, known), expires

    def _expiry(self, claims: dict[str, Any]) -> int | Decimal:
        """When a token expires that is valid now."""
        latest = self._clock().timestamp() + LEEWAY_SECONDS
        expires = seconds_of(claims, "exp")
        if expires is None:
            raise TokenRefused("token-never-expires")
        if self._is_past(expires):
            raise TokenRefused("token-expired")
        if expires > latest + LONGEST_LIFE_SECONDS:
            raise TokenRefused("token-lives-too-long")
        for name, reason in (("nbf", "token-not-yet-valid"), ("iat", "token-issued-in-future")):
            start = seconds_of(claims, name)
            if start is not None and start > latest:
                raise TokenRefused(reason)
        return expires

    def _is_past(self, expires: int | Decimal) -> bool:
        return expires <= self._clock().timestamp() - LEEWAY_SECONDS


def signed_parts(token: str, keys: Keys, types: Set[str]) -> tuple[dict[str, Any], dict[str, Any]]:
    """The header and the claims of a token of one of these types, in small letters, whose signature is good.
    Raises TokenRefused."""
    parts = _COMPACT.fullmatch(token)
    if parts is None:
        raise TokenRefused("token-form")
    header = _object(_decoded(parts[1]), "token-header")
    kind = header.get("typ")
    if not isinstance(kind, str) or kind.lower().removeprefix("application/") not in types:
        raise TokenRefused("token-type")
    if "crit" in header:  # it asks for extensions of the standard, and none is known here
        raise TokenRefused("token-critical-header")
    algorithm, key_id = header.get("alg"), header.get("kid")
    if not isinstance(algorithm, str) or algorithm not in ALGORITHMS:
        raise TokenRefused("token-algorithm")
    if not isinstance(key_id, str) or len(key_id) > LONGEST_KEY_ID:
        raise TokenRefused("token-key-id")
    key = keys.get((key_id, algorithm))
    if key is None:
        raise TokenRefused("token-key-unknown")
    try:
        payload = _SIGNATURES.decode_complete(token, key, algorithms=[algorithm])["payload"]
    except PyJWTError:
        raise TokenRefused("token-signature") from None
    return header, _object(payload, "token-claims")


def claims_unchecked(token: str) -> dict[str, Any]:
    """What a token says, believed by nobody yet: good only for choosing whose keys it must be signed with.
    Raises TokenRefused."""
    parts = _COMPACT.fullmatch(token)
    if parts is None:
        raise TokenRefused("token-form")
    return _object(_decoded(parts[2]), "token-claims")


def _decoded(part: str) -> bytes:
    try:
        return urlsafe_b64decode(part + "=" * (-len(part) % 4))
    except ValueError:
        raise TokenRefused("token-form") from None


def _object(data: bytes, reason: str) -> dict[str, Any]:
    """A JSON object with one meaning: were a member there twice, two programs could read two tokens."""
    try:
        value = read_json(data)
    except NotJson:
        raise TokenRefused(reason) from None
    if not isinstance(value, dict):
        raise TokenRefused(reason)
    return value


def seconds_of(claims: Mapping[str, Any], name: str) -> int | Decimal | None:
    """A NumericDate (RFC 7519, 2), None when it is absent. Raises TokenRefused."""
    if name not in claims:
        return None
    value = claims[name]
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise TokenRefused("token-time")
    return value
