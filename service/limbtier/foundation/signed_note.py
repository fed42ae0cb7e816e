"""Signed notes and checkpoints as C2SP describes them (signed-note, tlog-checkpoint), with Ed25519.

A note is a text, a blank line, and signature lines `- NAME BASE64` that begin with an em dash. The base64
holds the key's id (four bytes) and the signature. A verifier key is the text NAME+ID+BASE64.

Stricter than the format in one point: base64 must be in its canonical form, so that no byte of a note can
be changed without being noticed.
"""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Final

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError
from limbtier.foundation.merkle import HASH_BYTES

MOST_NOTE_BYTES: Final = 1_000_000
MOST_SIGNATURES: Final = 100
MOST_SIZE: Final = 2**64 - 1
SIGNATURE_WRONG: Final = "signature-wrong"
SIGNER_UNKNOWN: Final = "signer-unknown"
_ED25519: Final = b"\x01"
_KEY_BYTES: Final = 32
_ID_BYTES: Final = 4
_PRIVATE: Final = "PRIVATE+KEY+"
_SIZE: Final = re.compile(r"0|[1-9][0-9]{0,19}")


class InvalidNote(LimbtierError):
    """The note or checkpoint has another form, or no signature of a known key holds."""

    code = "invalid-note"


class InvalidKey(LimbtierError):
    """A key text cannot be read."""

    code = "invalid-key"


@dataclass(frozen=True, slots=True)
class VerifierKey:
    """The public half of a signing key; `public` is 32 bytes."""

    name: str
    public: bytes

    @property
    def id(self) -> bytes:
        """The four bytes by which a signature line names its key."""
        return sha256(self.name.encode() + b"\n" + _ED25519 + self.public).digest()[:_ID_BYTES]

    def holds(self, text: str, signature: bytes) -> bool:
        """Whether the signature is this key's over the text."""
        try:
            Ed25519PublicKey.from_public_bytes(self.public).verify(signature, text.encode())
        except InvalidSignature:
            return False
        return True

    def __str__(self) -> str:
        return f"{self.name}+{self.id.hex()}+{_base64(_ED25519 + self.public)}"


@dataclass(frozen=True, slots=True)
class SigningKey:
    """A named Ed25519 key that signs notes. `seed` is 32 secret bytes and is never shown."""

    name: str
    seed: bytes = field(repr=False)

    @classmethod
    def generate(cls, name: str) -> SigningKey:
        """A new key. Raises InvalidKey when the name cannot be the name of a key."""
        _check_name(name)
        return cls(name, Ed25519PrivateKey.generate().private_bytes_raw())

    @classmethod
    def read(cls, text: str) -> SigningKey:
        """The key of its secret text, as `secret_text` gives it. Raises InvalidKey."""
        if not text.startswith(_PRIVATE):
            raise _bad_key("A secret key begins with PRIVATE+KEY+.")
        name, key_id, seed = _key_parts(text.removeprefix(_PRIVATE))
        found = cls(name, seed)
        if found.verifier.id.hex() != key_id:
            raise _bad_key("The id of a key does not fit the key.")
        return found

    @property
    def verifier(self) -> VerifierKey:
        """The public half."""
        private = Ed25519PrivateKey.from_private_bytes(self.seed)
        return VerifierKey(self.name, private.public_key().public_bytes_raw())

    def secret_text(self) -> str:
        """The whole key as text, for its file only."""
        return f"{_PRIVATE}{self.name}+{self.verifier.id.hex()}+{_base64(_ED25519 + self.seed)}"

    def sign(self, text: str) -> bytes:
        """The signature over a text; 64 bytes, always the same for the same text."""
        return Ed25519PrivateKey.from_private_bytes(self.seed).sign(text.encode())


@dataclass(frozen=True, slots=True)
class OpenedNote:
    """A note of which at least one signature holds. `verified` are the keys whose signatures hold, in the
    order of the lines; `unknown` are the names on lines of keys that are not known."""

    text: str
    verified: tuple[VerifierKey, ...]
    unknown: tuple[str, ...]


def read_verifier_key(text: str) -> VerifierKey:
    """The verifier key of its text, NAME+ID+BASE64. Raises InvalidKey."""
    name, key_id, public = _key_parts(text)
    found = VerifierKey(name, public)
    if found.id.hex() != key_id:
        raise _bad_key(f"The id of the key {name} does not fit the key.")
    return found


def sign(text: str, keys: Iterable[SigningKey]) -> str:
    """The note over a text, with one signature line for each key. Raises InvalidNote when the text cannot be
    that of a note."""
    if not text.endswith("\n") or not _is_plain(text):
        raise _bad_note("The text of a note ends with a line feed and has no control characters.")
    lines = [f"— {key.name} {_base64(key.verifier.id + key.sign(text))}\n" for key in keys]
    return text + "\n" + "".join(lines)


def open_note(note: str | bytes, keys: Iterable[VerifierKey]) -> OpenedNote:
    """The text of a note, once a signature of a known key holds.

    Lines of unknown keys are passed over. Raises InvalidNote, its diagnostic with the code `invalid-note`
    when the note has another form, `signature-wrong` when a signature of a known key does not hold, and
    `signer-unknown` when no known key has signed.
    """
    text, lines = _parts(note)
    known: dict[tuple[str, bytes], VerifierKey | None] = {}
    for key in keys:  # two keys of one name and id cannot be told apart, so neither counts
        place = (key.name, key.id)
        known[place] = key if known.get(place, key) == key else None
    verified: dict[VerifierKey, None] = {}
    unknown: dict[str, None] = {}
    for name, key_id, signature in lines:
        found = known.get((name, key_id))
        if found is None:
            unknown[name] = None
        elif found not in verified:
            if not found.holds(text, signature):
                raise _bad_note(
                    f"The signature of {name} does not hold.", "Take the note as forged.", SIGNATURE_WRONG
                )
            verified[found] = None
    if not verified:
        names = ", ".join(unknown) or "nobody"
        raise _bad_note(
            f"No known key has signed the note; signed by: {names}.",
            "Give the signer's verifier key.",
            SIGNER_UNKNOWN,
        )
    return OpenedNote(text, tuple(verified), tuple(unknown))


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """What a log says of itself: that under its name `origin` it has `size` entries with this root.

    `extension` holds further lines; this service writes none.
    """

    origin: str
    size: int
    root: bytes
    extension: tuple[str, ...] = ()

    def text(self) -> str:
        """The text to sign."""
        lines = (self.origin, str(self.size), _base64(self.root), *self.extension)
        return "".join(line + "\n" for line in lines)

    @classmethod
    def read(cls, text: str) -> Checkpoint:
        """The checkpoint of the text of a note. Raises InvalidNote."""
        if not text.endswith("\n"):
            raise _bad_note("The text of a checkpoint does not end with a line feed.")
        lines = text.split("\n")[:-1]
        if len(lines) < 3 or not all(lines):
            raise _bad_note(
                "A checkpoint has an origin, a size and a root, each on its line, and no empty line."
            )
        origin, size, root = lines[:3]
        if not _SIZE.fullmatch(size) or int(size) > MOST_SIZE:
            raise _bad_note(f"The size of a checkpoint is no whole number from 0 to {MOST_SIZE}.")
        hashed = _from_base64(root)
        if hashed is None or len(hashed) != HASH_BYTES:
            raise _bad_note(f"The root of a checkpoint is not {HASH_BYTES} bytes in canonical base64.")
        return cls(origin, int(size), hashed, tuple(lines[3:]))


def _parts(note: str | bytes) -> tuple[str, list[tuple[str, bytes, bytes]]]:
    """The text, and name, key id and signature of each line."""
    if len(note) > MOST_NOTE_BYTES:
        raise _bad_note(f"A note has at most {MOST_NOTE_BYTES} bytes.")
    if isinstance(note, bytes):
        try:
            note = note.decode("utf-8")
        except UnicodeDecodeError as error:
            raise _bad_note(f"Byte {error.start} of the note is not UTF-8.") from None
    if not _is_plain(note):
        raise _bad_note("The note has control characters.")
    text, separator, signatures = note.rpartition("\n\n")
    if not separator or not signatures.endswith("\n"):
        raise _bad_note("A note is a text, a blank line and signature lines, each ended by a line feed.")
    lines = signatures.split("\n")[:-1]
    if len(lines) > MOST_SIGNATURES:
        raise _bad_note(f"A note has at most {MOST_SIGNATURES} signatures.")
    return text + "\n", [_signature_line(line) for line in lines]


def _signature_line(line: str) -> tuple[str, bytes, bytes]:
    parts = line.split(" ")
    data = _from_base64(parts[2]) if len(parts) == 3 else None
    if data is None or parts[0] != "—" or not _is_name(parts[1]) or len(data) <= _ID_BYTES:
        raise _bad_note("A signature line is an em dash, a name, and base64 in its canonical form.")
    return parts[1], data[:_ID_BYTES], data[_ID_BYTES:]


def _key_parts(text: str) -> tuple[str, str, bytes]:
    parts = text.split("+", 2)
    if len(parts) != 3 or not re.fullmatch(r"[0-9a-f]{8}", parts[1]):
        raise _bad_key("A key is NAME+ID+BASE64, the id in eight hexadecimal digits.")
    name, key_id, encoded = parts
    _check_name(name)
    data = _from_base64(encoded)
    if data is None or data[:1] != _ED25519 or len(data) != 1 + _KEY_BYTES:
        raise _bad_key(f"The key {name} is no Ed25519 key in canonical base64.")
    return name, key_id, data[1:]


def _check_name(name: str) -> None:
    if not _is_name(name):
        raise _bad_key("The name of a key has no white space, no control characters and no plus sign.")


def _is_name(name: str) -> bool:
    return bool(name) and "+" not in name and not any(map(str.isspace, name)) and _is_plain(name)


def _is_plain(text: str) -> bool:
    """Whether the text can be written in UTF-8 and has no control characters but line feeds."""
    return not any(letter < " " and letter != "\n" for letter in text) and not re.search(
        "[\ud800-\udfff]", text
    )


def _base64(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _from_base64(text: str) -> bytes | None:
    """The bytes of base64 in its canonical form (RFC 4648, section 3.5), None of anything else."""
    try:
        data = base64.b64decode(text.encode("ascii"), validate=True)
    except (binascii.Error, UnicodeEncodeError):
        return None
    return data if _base64(data) == text else None


def _bad_note(
    message: str, help_text: str = "Take the note as it was published.", code: str = "invalid-note"
) -> InvalidNote:
    return InvalidNote([Diagnostic(code, message, help_text)])


def _bad_key(message: str) -> InvalidKey:
    return InvalidKey([Diagnostic("invalid-key", message, "Copy the key text whole, as it was published.")])
