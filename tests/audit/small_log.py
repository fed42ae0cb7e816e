"""A small log in memory, with invented entries and a key for tests only, to be exported and spoilt."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from hashlib import sha256
from typing import Any

from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.merkle import Frontier, Subtree, leaf_hash
from limbtier.foundation.signed_note import Checkpoint, SigningKey, sign

ORIGIN = "limbtier.invalid/test-log"
DIGEST = sha256(b"the rules of an invented edition").hexdigest()
OTHER_DIGEST = sha256(b"other rules").hexdigest()


def key_for_tests(word: str, name: str = "limbtier.invalid/test-only") -> SigningKey:
    """Return a key whose secret anyone can compute: for tests only, never for a service."""
    return SigningKey(name, sha256(f"test only: {word}".encode()).digest())


KEY = key_for_tests("first")
NEW_KEY = key_for_tests("second")
STRANGER = key_for_tests("stranger")
RESTORED_KEY = key_for_tests("third", "limbtier.invalid/test-only/restored-1")


class SmallLog:
    """A log that signs where it is told to; it can be exported."""

    def __init__(self, origin: str = ORIGIN, keys: Sequence[SigningKey] = (KEY,)) -> None:
        self.origin = origin
        self.keys = list(keys)
        self.entries: list[bytes] = []
        self.notes: list[str] = []
        self.hashes: dict[Subtree, bytes] = {}
        self.frontier = Frontier()

    def append(self, *entries: dict[str, Any]) -> None:
        """Append entries."""
        for entry in entries:
            self.append_bytes(canonical(entry))

    def append_bytes(self, data: bytes) -> None:
        """Append an entry as it stands."""
        self.entries.append(data)
        for level, index, found in self.frontier.add(leaf_hash(data)):
            self.hashes[level, index] = found

    def sign(self, *keys: SigningKey) -> str:
        """Sign a checkpoint over all entries, with the newest key unless others are named."""
        text = Checkpoint(self.origin, self.frontier.size, self.frontier.root()).text()
        self.notes.append(sign(text, keys or self.keys[-1:]))
        return self.notes[-1]

    def rotate(self, new: SigningKey) -> None:
        """Change the key: an entry, and a checkpoint over it that the old and the new key sign."""
        old = self.keys[-1]
        self.keys.append(new)
        self.append(rotation(len(self.entries), old, new))
        self.sign(old, new)

    # What an export asks for.

    def checkpoint(self) -> str:
        return self.notes[-1]

    def checkpoints(self) -> list[str]:
        return self.notes

    def verifier_keys(self) -> list[str]:
        return [str(key.verifier) for key in self.keys]

    def entries_from(self, position: int) -> Iterator[bytes]:
        yield from self.entries[position:]

    def read_hashes(self, places: list[Subtree]) -> list[bytes]:
        return [self.hashes[place] for place in places]


def caller(name: str) -> dict[str, str | None]:
    return {"id": name, "organisation": None if name in {"service", "operator"} else "example-clinic"}


def released(number: int, digest: str = DIGEST) -> dict[str, Any]:
    return {
        "kind": "edition_released",
        "id": f"release-{number}",
        "at": f"2026-03-01T08:00:{number:02}+00:00",
        "caller": caller("service"),
        "edition": "example-2026.1.0",
        "digest": digest,
    }


def decision(number: int, tier: str = "standard", digest: str = DIGEST) -> dict[str, Any]:
    return {
        "kind": "decision",
        "id": f"decision-{number}",
        "decided_at": f"2026-03-01T09:00:{number % 60:02}+00:00",
        "caller": caller("form"),
        "edition": {"id": "example-2026.1.0", "digest": digest},
        "limbs": {"left": {"tier": tier, "review": {"due_on": "2026-03-09"}}},
        "received": f'{{"episode": "example-{number}", "ankle": "23.5"}}',
    }


def rotation(number: int, old: SigningKey, new: SigningKey) -> dict[str, Any]:
    return {
        "kind": "log_key_rotated",
        "id": f"rotation-{number}",
        "at": "2026-03-01T10:00:00+00:00",
        "caller": caller("operator"),
        "old": str(old.verifier),
        "new": str(new.verifier),
    }


def small_log(size: int = 10, signed_at: Sequence[int] = (2, 4, 7, 10)) -> SmallLog:
    """Return a log of a release and decisions, signed at these sizes."""
    log = SmallLog()
    for number in range(size):
        log.append(decision(number) if number else released(number))
        if number + 1 in signed_at:
            log.sign()
    return log


def rotated_log() -> SmallLog:
    """Return a log of ten entries whose key was changed by the fifth; signed at 3, 5 (hand-over), 8, 10."""
    log = SmallLog()
    log.append(released(0), decision(1), decision(2))
    log.sign()
    log.append(decision(3))
    log.rotate(NEW_KEY)
    log.append(decision(5), decision(6), decision(7))
    log.sign()
    log.append(decision(8), decision(9))
    log.sign()
    return log


def restored_log() -> SmallLog:
    """Return a log restored, with entries lost, from one whose key had been changed: it has another name."""
    log = SmallLog("limbtier.invalid/test-log/restored-1", [RESTORED_KEY])
    for entry in rotated_log().entries[:8]:
        log.append_bytes(entry)
    log.append(
        {
            "kind": "log_restored",
            "id": "restored-8",
            "at": "2026-03-02T08:00:00+00:00",
            "caller": caller("operator"),
        }
    )
    log.sign()
    log.append(decision(9))
    log.sign()
    return log
