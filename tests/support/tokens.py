"""An invented token issuer: keys, and tokens as good or as bad as a test wants them."""

from __future__ import annotations

import json
from base64 import urlsafe_b64encode
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

from limbtier.foundation.settings import TokenSettings
from limbtier.interop.bearer_tokens import TokenReader

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
SECONDS = int(NOW.timestamp())
ISSUER = "https://issuer.quillerbeck.example/"
AUDIENCE = "https://limbtier.quillerbeck.example/"
GOOD: Mapping[str, Any] = {
    "iss": ISSUER,
    "aud": AUDIENCE,
    "client_id": "contact-form",
    "organisation": "quillerbeck",
    "scope": "decide read",
    "iat": SECONDS,
    "exp": SECONDS + 300,
}


def encoded(data: bytes) -> str:
    """Base64url without padding (RFC 7515, 2)."""
    return urlsafe_b64encode(data).rstrip(b"=").decode()


class Issuer:
    """One P-256 key. Nothing of a token is checked before it is signed."""

    def __init__(self, key_id: str = "first") -> None:
        self.key_id = key_id
        self._key = ec.generate_private_key(ec.SECP256R1())

    def public_key(self, **changes: Any) -> dict[str, Any]:
        """The public key as a JSON Web Key; a change to None leaves a member out."""
        numbers = self._key.public_key().public_numbers()
        point = {"x": encoded(numbers.x.to_bytes(32, "big")), "y": encoded(numbers.y.to_bytes(32, "big"))}
        found = {"kty": "EC", "crv": "P-256", "kid": self.key_id, "use": "sig", "alg": "ES256", **point}
        return {name: value for name, value in {**found, **changes}.items() if value is not None}

    def private_key(self) -> dict[str, Any]:
        """The key with what nobody else may know."""
        secret = self._key.private_numbers().private_value
        return {**self.public_key(), "d": encoded(secret.to_bytes(32, "big"))}

    def token(
        self, claims: bytes | Mapping[str, Any] = GOOD, header: bytes | None = None, **more: Any
    ) -> str:
        """A token whose signature is good, whatever it says. `more` changes the header."""
        head = {"alg": "ES256", "typ": "at+jwt", "kid": self.key_id, **more}
        shown = {name: value for name, value in head.items() if value is not None}
        first = header if header is not None else json.dumps(shown).encode()
        body = claims if isinstance(claims, bytes) else json.dumps(claims).encode()
        signed = f"{encoded(first)}.{encoded(body)}"
        r, s = decode_dss_signature(self._key.sign(signed.encode(), ec.ECDSA(SHA256())))
        return f"{signed}.{encoded(r.to_bytes(32, 'big') + s.to_bytes(32, 'big'))}"


def write_key_set(file: Path, *keys: Any) -> Path:
    """A key-set file."""
    file.write_text(json.dumps({"keys": keys}))
    return file


def reader(file: Path, moment: datetime = NOW) -> TokenReader:
    """A reader of the issuer's tokens, with the clock standing still."""
    return TokenReader(TokenSettings(ISSUER, AUDIENCE, file), lambda: moment)


def claims(**changes: Any) -> dict[str, Any]:
    """Good claims with some changed; a change to None leaves one out."""
    return {name: value for name, value in {**GOOD, **changes}.items() if value is not None}


def taken(tokens: TokenReader, token: str) -> bool:
    """Whether a token is taken; if not, the reason comes as TokenRefused."""
    return tokens.caller(token).id.startswith("token:")
