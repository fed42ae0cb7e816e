"""What each entry of an exported log must be, by itself and beside the entries before it."""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import blake2b
from typing import Any, Final

from limbtier.audit.export_damage import Damages, shown
from limbtier.audit.export_files import MOST_ENTRY_BYTES
from limbtier.audit.key_chain import KeyChain
from limbtier.audit.leaf_alignment import Place
from limbtier.foundation.canonical_json import NotCanonical, read_canonical

ID_DIGEST_BYTES: Final = 16


class EntryChecks:
    """Checks entries one after the other; what is wrong is noted."""

    def __init__(self, damages: Damages, chain: KeyChain) -> None:
        self._damages = damages
        self._chain = chain
        self._ids: set[bytes] = set()
        self._released: dict[str, str] = {}

    def check(self, position: int, data: bytes, end: bytes, file: str, line: int) -> Place:
        """Check the line of an entry; `end` is what ended it. Returns where it stands, with its id."""
        if end == b"...":
            message = f"The line has more than {MOST_ENTRY_BYTES} bytes; the file was read no further."
            self._damages.add("entry-too-long", message, file, line, position)
            return Place(position, file, line, None)
        if not end:
            message = "The last line of the file does not end with a line feed."
            self._damages.add("file-cut", message, file, line, position)
        try:
            entry = read_canonical(data)
        except NotCanonical as error:
            message = error.diagnostics[0].message
            if not data:
                message = "The line is empty."
            elif data.endswith(b"\r"):
                message = "The line ends with a carriage return."
            self._damages.add("entry-not-canonical", message, file, line, position)
            return Place(position, file, line, None)
        found = entry.get("id") if isinstance(entry, dict) else None
        kind = entry.get("kind") if isinstance(entry, dict) else None
        if not (isinstance(found, str) and found and isinstance(kind, str) and kind):
            message = "The line is no object with the texts `kind` and `id`."
            self._damages.add("entry-without-id", message, file, line, position)
            return Place(position, file, line, found if isinstance(found, str) else None)
        place = Place(position, file, line, found)
        digest = blake2b(found.encode(), digest_size=ID_DIGEST_BYTES).digest()
        if digest in self._ids:
            self._add("entry-repeated", "An earlier entry has the same id.", place)
        self._ids.add(digest)
        if kind in _CHECKED:
            self._check_kind(kind, entry, place)
        return place

    def _check_kind(self, kind: str, entry: Mapping[str, Any], place: Place) -> None:
        if kind == "log_key_rotated":
            if fault := self._chain.rotate(entry):
                self._add("rotation-unknown-key", fault, place)
            return
        named = entry.get("edition")
        if kind == "edition_released":
            edition, digest = named, entry.get("digest")
        else:
            edition, digest = (
                (named.get("id"), named.get("digest")) if isinstance(named, dict) else (None, None)
            )
        if not isinstance(edition, str) or not isinstance(digest, str):
            return
        released = self._released.get(edition)
        if released is not None and released != digest:
            message = (
                f"It names the edition {shown(edition)} with the digest {shown(digest)}, "
                f"but that edition was released with the digest {shown(released)}."
            )
            self._add("edition-disagrees", message, place)
        elif kind == "edition_released":
            self._released[edition] = digest

    def _add(self, code: str, message: str, place: Place) -> None:
        self._damages.add(code, message, place.file, place.line, place.position, place.id)


_CHECKED: Final = frozenset({"decision", "edition_released", "log_key_rotated"})
