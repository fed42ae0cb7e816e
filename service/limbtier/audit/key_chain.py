"""Which key may sign a log at which size: the first one, and then whom its owner handed over to.

An entry `log_key_rotated` alone proves nothing, for whoever can add entries could add one. The new key
counts once a checkpoint that covers the entry is signed by the old key: the hand-over. From then on
only the new key counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from limbtier.foundation.signed_note import InvalidKey, VerifierKey, read_verifier_key


class KeyChain:
    """The keys of a log while its entries are read in order.

    `listed` are the keys that the export names, the oldest first; `given` are keys that the verifier has from
    elsewhere and trusts: they can take over without a hand-over, for a log whose old key was lost.
    """

    def __init__(self, listed: Iterable[VerifierKey], given: Iterable[VerifierKey]) -> None:
        self._given = tuple(given)
        self.known = tuple(dict.fromkeys([*listed, *self._given]))
        self.current = self.known[0] if self.known else None
        self._next: VerifierKey | None = None
        self.rotated: list[VerifierKey] = []

    def rotate(self, entry: Mapping[str, Any]) -> str | None:
        """Take note of an entry `log_key_rotated`. Returns what is wrong with it, None when nothing is.

        One between keys of another name is of the log from which this one was restored, and changes nothing.
        """
        try:
            old, new = (read_verifier_key(str(entry.get(name, ""))) for name in ("old", "new"))
        except InvalidKey as error:
            return error.diagnostics[0].message
        in_use = self._next or self.current
        if in_use is None or old.name != in_use.name:
            return None
        if old != in_use or new.name != in_use.name:
            return f"The key {old} is said to be replaced by {new}, but the key in use is {in_use}."
        self._next = new
        self.rotated.append(new)
        if new not in self.known:
            self.known = (*self.known, new)
        return None

    def accepts(self, signers: Iterable[VerifierKey]) -> bool:
        """Whether a checkpoint over all entries so far may be signed by these keys. A hand-over takes
        effect."""
        signed = set(signers)
        if self.current in signed:
            self.current, self._next = self._next or self.current, None
            return True
        if self._next in signed and self._next in self._given:
            self.current, self._next = self._next, None
            return True
        return False
