"""Reads `released.yaml`: the digest of every edition that was released."""

from __future__ import annotations

from typing import Final

from limbtier.rulesets.findings import Findings
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.records import Key, ListOf, Record
from limbtier.rulesets.shapes import EditionId, Word

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
RELEASED: Final = Key(
    "editions",
    ListOf(Record("an edition", (EDITION, DIGEST)), least=0),
    "every released edition",
    required=True,
)
RELEASED_FILE: Final = Record("the file", (RELEASED,))


def read_released(root: Node | None, found: Findings) -> dict[str, str]:
    """Digests by edition id."""
    fields = RELEASED_FILE.read(root, "The file", found) if root is not None else None
    listed = fields.get(RELEASED) if fields else None
    names: Names[bool] = Names("edition")
    digests: dict[str, str] = {}
    for entry in listed.value if listed else ():
        edition, fingerprint = entry.get(EDITION), entry.get(DIGEST)
        if edition and names.give(edition, True, found, "duplicate-id") and fingerprint:
            digests[edition.value] = fingerprint.value
    return digests
