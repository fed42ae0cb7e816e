"""The public keys of the token issuer: a JSON Web Key Set file (RFC 7517), read anew whenever it changes.

The file is configured. No token can name another: that would let whoever makes a token choose its keys.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from jwt import PyJWK
from jwt.exceptions import PyJWTError

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.settings import InvalidSettings
from limbtier.foundation.strict_json import NotJson, read_json

log = logging.getLogger("limbtier.access")

MOST_BYTES: Final = 262_144
LEAST_RSA_BITS: Final = 2048  # RFC 7518, 3.3 and 3.5
LONGEST_KEY_ID: Final = 255
# By key type and curve (RFC 7518, 3.1; RFC 8037). None of them takes a secret that both sides share: whoever
# could check such a token could also make one, and a public key must never serve as such a secret.
_ALGORITHMS: Final[Mapping[tuple[str, str], tuple[str, ...]]] = {
    ("RSA", ""): ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512"),
    ("EC", "P-256"): ("ES256",),
    ("EC", "P-384"): ("ES384",),
    ("EC", "P-521"): ("ES512",),
    ("OKP", "Ed25519"): ("EdDSA",),
}
ALGORITHMS: Final = frozenset(name for names in _ALGORITHMS.values() for name in names)

Keys = Mapping[tuple[str, str], PyJWK]
"""By key id and algorithm: a key is used with the algorithms of its kind and no other."""


class IssuerKeys:
    """The keys of one file. A changed file that cannot be used is named in the log, and the keys before it
    stay; so a mistake in a rotation locks nobody out."""

    def __init__(self, file: Path) -> None:
        """Read the file. Raises InvalidSettings."""
        self._file = file
        self._seen = self._state()
        self._keys = read_key_set(file)

    def current(self) -> Keys:
        """The keys in use, the same mapping until they change."""
        state = self._state()
        if state != self._seen:
            self._seen = state
            try:
                self._keys = read_key_set(self._file)
                log.info("key set read anew: %d keys", len({name for name, _ in self._keys}))
            except InvalidSettings as error:
                log.warning("key set not read anew, the keys before stay: %s", error)
        return self._keys

    def _state(self) -> tuple[int, ...]:
        """What differs once the file is written or replaced; empty while it cannot be looked at."""
        try:
            found = self._file.stat()
        except OSError:
            return ()
        return (found.st_mtime_ns, found.st_size, found.st_ino)


def read_key_set(file: Path) -> Keys:
    """The usable keys of a file. Raises InvalidSettings when it cannot be read or has none.

    Keys of other kinds, other uses or without an id are left out, as RFC 7517, section 5, asks; the log names
    them. A private key is refused with the whole file: it has no business here.
    """
    faults: list[str] = []
    found: dict[tuple[str, str], PyJWK] = {}
    names: set[str] = set()
    for place, entry in enumerate(_entries(file)):
        if isinstance(entry, dict) and "d" in entry:
            faults.append(f"key {place} is a private key")
            continue
        left_out, name, usable = _usable(entry)
        if left_out:
            log.warning("key set: key %d is left out, because %s", place, left_out)
        elif name in names:
            faults.append(f"two keys have the id of key {place}")
        else:
            names.add(name)
            found.update({(name, algorithm): key for algorithm, key in usable.items()})
    if faults:
        advice = "Put only public keys into it, each with an id of its own."
        raise _unusable(file, "; ".join(faults), advice)
    if not found:
        advice = f"Give each key a `kid`, and use one of {', '.join(sorted(ALGORITHMS))}."
        raise _unusable(file, "no key in it can be used", advice)
    return found


def _entries(file: Path) -> list[Any]:
    try:
        with file.open("rb") as opened:
            data = opened.read(MOST_BYTES + 1)
    except OSError as error:
        raise _unusable(file, f"it cannot be read ({error.strerror})", "Let the service read it.") from None
    if len(data) > MOST_BYTES:
        raise _unusable(file, f"it is longer than {MOST_BYTES} bytes", "Leave out what is no key.")
    try:
        content = read_json(data)
    except NotJson as error:
        raise _unusable(file, error.diagnostics[0].message, "Write it with a JSON library.") from None
    entries = content.get("keys") if isinstance(content, dict) else None
    if not isinstance(entries, list):
        raise _unusable(file, "it has no list `keys`", "Use the form of RFC 7517, section 5.")
    return entries


def _usable(entry: object) -> tuple[str, str, dict[str, PyJWK]]:
    """Why the key is left out, or its id and the key for each algorithm."""
    if not isinstance(entry, dict):
        return "it is no object", "", {}
    name = entry.get("kid")
    if not isinstance(name, str) or not 0 < len(name) <= LONGEST_KEY_ID:
        return "it has no usable `kid`", "", {}
    if entry.get("use", "sig") != "sig" or not _may_verify(entry):
        return "it is not for checking signatures", "", {}
    kind = entry.get("kty")
    curve = entry.get("crv") if kind != "RSA" else ""
    known = _ALGORITHMS.get((kind, curve), ()) if isinstance(kind, str) and isinstance(curve, str) else ()
    algorithms = [one for one in known if entry.get("alg", one) == one]
    if not algorithms:
        return "its kind or algorithm is not taken", "", {}
    try:
        keys = {algorithm: PyJWK(entry, algorithm) for algorithm in algorithms}
    except (PyJWTError, ValueError, TypeError):
        return "it is no sound key", "", {}
    if kind == "RSA" and any(key.key.key_size < LEAST_RSA_BITS for key in keys.values()):
        return f"it has fewer than {LEAST_RSA_BITS} bits", "", {}
    return "", name, keys


def _may_verify(entry: dict[str, Any]) -> bool:
    operations = entry.get("key_ops", ["verify"])
    return isinstance(operations, list) and "verify" in operations


def _unusable(file: Path, message: str, advice: str) -> InvalidSettings:
    text = f"LIMBTIER_TOKEN_KEYS: `{file}` cannot be used: {message}."
    return InvalidSettings([Diagnostic("invalid-setting", text, advice)])
