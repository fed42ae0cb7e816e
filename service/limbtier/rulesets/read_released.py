"""Reads `released.yaml`: the digest of every edition that was released, and which were retired since.

An edition is retired here and not in its own files: those stay as they were released, so that its digest
stays, and every decision that it made can be made again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from limbtier.rulesets.findings import Findings
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.records import Key, ListOf, Record
from limbtier.rulesets.shapes import Day, EditionId, Word

EDITION: Final = Key(
    "edition",
    EditionId,
    "the id of the edition, set and version",
    required=True,
)
DIGEST: Final = Key(
    "digest",
    Word(r"^sha256:[0-9a-f]{64}$", "bad-digest", "Write `sha256:` and 64 hexadecimal digits."),
    "the digest at its release",
    required=True,
)
RETIRED_ON: Final = Key(
    "retired_on", Day(), "the day on which it was retired; once listed so, it decides nothing new"
)
RELEASED: Final = Key(
    "editions",
    ListOf(Record("an edition", (EDITION, DIGEST, RETIRED_ON)), least=0),
    "every released edition",
    required=True,
)
RELEASED_FILE: Final = Record("the file", (RELEASED,))


@dataclass(frozen=True, slots=True)
class Released:
    """Digests by edition id, and the day on which each retired one was: it decides nothing new any more."""

    digests: Mapping[str, str]
    retired_on: Mapping[str, date]


def read_released(root: Node | None, found: Findings) -> Released:
    """What the file lists."""
    fields = RELEASED_FILE.read(root, "The file", found) if root is not None else None
    listed = fields.get(RELEASED) if fields else None
    names: Names[bool] = Names("edition")
    digests: dict[str, str] = {}
    retired_on: dict[str, date] = {}
    for entry in listed.value if listed else ():
        edition, fingerprint = entry.get(EDITION), entry.get(DIGEST)
        if edition and names.give(edition, True, found, "duplicate-id") and fingerprint:
            digests[edition.value] = fingerprint.value
            if retired := entry.get(RETIRED_ON):
                retired_on[edition.value] = retired.value
    return Released(digests, retired_on)
