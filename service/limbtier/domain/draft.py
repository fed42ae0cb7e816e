"""An edition on its way to its release: its files as they were saved, and how far it has come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

DraftState = Literal["draft", "checked", "proved", "approved", "released", "retired", "discarded"]
STATES: Final[tuple[DraftState, ...]] = ("draft", "checked", "proved", "approved", "released", "retired")
"""In this order; a save puts a draft back to the first. One that was discarded has no files and is shown to
nobody; it is remembered because whoever saved it may not approve what has the same id later."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A draft without its files. `digest` is over these files alone, `savers` are the ids of all callers who
    ever saved it. `judged` names what was checked and proved: the digests of the edition as it was loaded,
    its base included, and of its guard rails. `check` and `proof` are what came out, as JSON."""

    edition: str
    organisation: str
    revision: int
    state: DraftState
    digest: str
    savers: tuple[str, ...]
    saved_at: datetime
    judged: tuple[str, str] | None = None
    approver: str | None = None
    check: bytes | None = None
    proof: bytes | None = None

    @property
    def etag(self) -> str:
        """Names these very files among all that were ever saved under this id (RFC 9110, 8.8.3)."""
        return f'"{self.revision}-{self.digest.removeprefix("sha256:")[:16]}"'

    @property
    def edition_digest(self) -> str | None:
        """The digest of the edition as it was checked, which a release will have; None before the check."""
        return None if self.judged is None else self.judged[0]


@dataclass(frozen=True, slots=True)
class ReleasedEdition:
    """An edition that was released through the service. `digest` covers that of its base. `files` are their
    texts by their path in the edition's folder; None where they were not asked for."""

    edition: str
    organisation: str
    digest: str
    released_at: datetime
    files: Mapping[str, str] | None = None
