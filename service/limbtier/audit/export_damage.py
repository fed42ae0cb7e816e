"""What can be wrong with an export of the log: one code for each kind of damage, and what it means."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from limbtier.foundation.signed_note import Checkpoint

MOST_OF_A_CODE: Final = 20

MEANINGS: Final[Mapping[str, str]] = {
    "checkpoint-not-listed": "The export's own account of its signed states contradicts itself.",
    "checkpoint-older": "The export ends before a state of the log that was already signed and given out.",
    "checkpoints-out-of-order": "A log that only grows signs its states in another order.",
    "edition-disagrees": "It names other rules than those that were released under that name.",
    "entry-added": "An entry stands here that the signed log does not have.",
    "entry-and-hash-differ": "The entry or its leaf hash was changed; no signed state says which of them.",
    "entry-changed": "The entry is not what was recorded.",
    "entry-missing": "An entry of the signed log was taken out.",
    "entry-moved": "An entry stands at another position than the one at which it was recorded.",
    "entry-not-canonical": "The service never writes such an entry: it was changed.",
    "entry-repeated": "Two entries claim to be the same one.",
    "entry-too-long": "The service never writes such an entry.",
    "entry-without-id": "The service never writes such an entry: nothing could refer to it.",
    "fewer-than-expected": "Entries that you know were recorded were cut off or taken out.",
    "file-cut": "The end of the file is lost, or was changed.",
    "file-missing": "What the file should show cannot be checked.",
    "file-not-plain": "The export must stand by itself, so nothing outside it is read.",
    "file-out-of-place": "A file of entries is missing, was renamed, or has too many or too few lines.",
    "file-unexpected": "The file is not part of an export; nothing vouches for it.",
    "history-rewritten": "Entries that you know were recorded were changed, moved or taken out.",
    "key-missing": "Signatures of that key cannot be checked.",
    "key-not-vouched": "Whoever made the export may have put in a key of his own.",
    "key-unreadable": "Signatures of that key cannot be checked.",
    "leaf-hash-changed": "The entries agree with the signed state; only the list of leaf hashes was changed.",
    "note-unreadable": "A signed state of the log was changed, cut or replaced.",
    "origin-differs": "This is a signed state of another log.",
    "root-differs": "The entries are not those that were signed.",
    "rotation-unknown-key": "A change of keys was recorded that the key in use did not make.",
    "signature-unknown": "A signature was changed, or somebody else's was put in.",
    "signature-wrong": "The state was changed after it was signed, or its signature was forged.",
    "signer-not-vouched": "The signature is of a key that was not the log's at that time: it may be forged.",
    "signer-unknown": "The key that signed was replaced, or the signature is somebody else's.",
    "size-differs": "Entries are missing or were added, or the checkpoint was changed.",
}


@dataclass(frozen=True, slots=True)
class Damage:
    """One thing that is wrong. `position` counts from 0, `line` from 1; `id` is that of the entry."""

    code: str
    message: str
    file: str | None = None
    line: int | None = None
    position: int | None = None
    id: str | None = None

    @property
    def meaning(self) -> str:
        """What it means for whoever relies on the log."""
        return MEANINGS[self.code]

    def __str__(self) -> str:
        place = "" if self.file is None else f"{self.file}{f', line {self.line}' if self.line else ''}: "
        entry = [] if self.position is None else [f"position {self.position}"]
        entry += [] if self.id is None else [f"id {self.id}"]
        about = f" (entry: {', '.join(entry)})" if entry else ""
        return f"{place}{self.message}{about}"


@dataclass(frozen=True, slots=True)
class Report:
    """What the verification of an export found.

    `entries` is how many were read; `checkpoint` is the export's own, None when it could not be read;
    `omitted` says how many damages of a code are not listed; `limits` say what was not shown.
    """

    entries: int
    checkpoint: Checkpoint | None
    damages: tuple[Damage, ...]
    omitted: Mapping[str, int]
    limits: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """Whether nothing is wrong."""
        return not self.damages


class Damages:
    """Collects damages; of each code only the first few are kept, the others counted."""

    def __init__(self) -> None:
        self._kept: list[Damage] = []
        self._counts: Counter[str] = Counter()

    def add(
        self,
        code: str,
        message: str,
        file: str | None = None,
        line: int | None = None,
        position: int | None = None,
        entry_id: str | None = None,
    ) -> None:
        """Note one damage. Texts out of the export are made printable, so that none can steer a terminal."""
        self._counts[code] += 1
        if self._counts[code] <= MOST_OF_A_CODE:
            named = None if entry_id is None else shown(entry_id)
            self._kept.append(Damage(code, printable(message), file, line, position, named))

    @property
    def kept(self) -> tuple[Damage, ...]:
        """The damages that are listed, in the order in which they were found."""
        return tuple(self._kept)

    @property
    def omitted(self) -> dict[str, int]:
        """How many more there are of each code."""
        return {
            code: count - MOST_OF_A_CODE for code, count in self._counts.items() if count > MOST_OF_A_CODE
        }


def printable(text: str) -> str:
    """The text with everything but printable ASCII written as its escape."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        letter
        if letter.isascii() and letter.isprintable()
        else letter.encode("unicode_escape").decode("ascii")
        for letter in text
    )


def shown(text: str, most: int = 80) -> str:
    """A text out of the export as it may stand in a message: printable, and not too long."""
    return printable(text if len(text) <= most else text[:most] + "...")
