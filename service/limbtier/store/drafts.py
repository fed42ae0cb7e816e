"""Drafts of editions, and editions released through the service, in the database.

What changes a draft runs in the transaction of its entry of the log: those methods take the cursor of it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final, cast

from sqlalchemy import bindparam, delete, select

from limbtier.domain.draft import Draft, DraftState, ReleasedEdition
from limbtier.store.database import Cursor, Database, Row
from limbtier.store.faults import damaged
from limbtier.store.packing import packed, unpacked
from limbtier.store.tables import drafts, microseconds, moment_of, released_editions, retired_editions

_DISCARDED: Final = "discarded"


class DraftTable:
    """The drafts of all organisations. Every method raises StoreUnavailable."""

    def __init__(self, database: Database) -> None:
        self._database = database
        columns = drafts.c
        which = (columns.organisation == bindparam("organisation"), columns.edition == bindparam("edition"))
        head = [one for one in columns if one.name != "files"]
        self._find = database.text(select(*head, columns.files).where(*which))
        self._delete = database.text(delete(drafts).where(*which))
        self._all = database.text(
            select(*head)
            .where(columns.organisation == bindparam("organisation"), columns.state != bindparam("state"))
            .order_by(columns.edition)
        )

    def all(self, organisation: str) -> list[Draft]:
        """Every draft of an organisation, by the id of the edition."""
        return [_draft(row) for row in self._database.rows(self._all, organisation, _DISCARDED)]

    def find(self, organisation: str, edition: str) -> tuple[Draft, Mapping[str, str]] | None:
        """A draft and its files, as they are committed."""
        return _with_files(self._database.rows(self._find, organisation, edition))

    def find_now(
        self, cursor: Cursor, organisation: str, edition: str
    ) -> tuple[Draft, Mapping[str, str]] | None:
        """The same within a transaction."""
        return _with_files(self._row(cursor, organisation, edition))

    def earlier(self, cursor: Cursor, organisation: str, edition: str) -> tuple[int, tuple[str, ...]]:
        """The last revision saved under an id, 0 for none, and by whom; of what was discarded, too."""
        rows = self._row(cursor, organisation, edition)
        return (rows[0][2], tuple(json.loads(rows[0][5]))) if rows else (0, ())

    def put(self, cursor: Cursor, draft: Draft, files: Mapping[str, str]) -> None:
        """Keep a draft as it now is."""
        self._replace(cursor, draft, draft.state, packed(json.dumps(dict(files)).encode()))

    def discard(self, cursor: Cursor, draft: Draft) -> None:
        """Forget the files of a draft, not who saved it."""
        self._replace(cursor, draft, _DISCARDED, None)

    def _row(self, cursor: Cursor, organisation: str, edition: str) -> list[Row]:
        cursor.execute(self._find, (organisation, edition))
        return list(map(tuple, cursor.fetchall()))

    def _replace(self, cursor: Cursor, draft: Draft, state: str, files: bytes | None) -> None:
        cursor.execute(self._delete, (draft.organisation, draft.edition))
        row = (
            draft.organisation,
            draft.edition,
            draft.revision,
            state,
            draft.digest,
            json.dumps(draft.savers),
            microseconds(draft.saved_at),
            None if draft.judged is None else " ".join(draft.judged),
            draft.approver,
            None if draft.check is None else packed(draft.check),
            None if draft.proof is None else packed(draft.proof),
            files,
        )
        self._database.insert(cursor, drafts, [row])


class EditionTable:
    """What was released and retired through the service. Every method raises StoreUnavailable."""

    def __init__(self, database: Database) -> None:
        self._database = database
        columns = released_editions.c
        head = [one for one in columns if one.name != "files"]
        self._released = database.text(select(*head).order_by(columns.edition))
        self._files = database.text(select(*columns).where(columns.edition == bindparam("edition")))
        self._retired = database.text(select(retired_editions.c.edition))

    def released(self) -> list[ReleasedEdition]:
        """Every edition that was released through the service, retired ones too, without files."""
        return [_released(row) for row in self._database.rows(self._released)]

    def released_now(self, cursor: Cursor) -> list[ReleasedEdition]:
        """The same within a transaction."""
        cursor.execute(self._released)
        return [_released(tuple(row)) for row in cursor.fetchall()]

    def retired(self) -> frozenset[str]:
        """The ids of all editions that were retired through the service."""
        return frozenset(row[0] for row in self._database.rows(self._retired))

    def retired_now(self, cursor: Cursor) -> frozenset[str]:
        """The same within a transaction."""
        cursor.execute(self._retired)
        return frozenset(row[0] for row in cursor.fetchall())

    def with_files(self, edition: str) -> ReleasedEdition | None:
        """An edition with its files, or None."""
        rows = self._database.rows(self._files, edition)
        if not rows:
            return None
        head, files = _released(rows[0][:4]), _texts(rows[0][4], edition)
        return ReleasedEdition(head.edition, head.organisation, head.digest, head.released_at, files)

    def release(self, cursor: Cursor, edition: ReleasedEdition) -> None:
        """Keep an edition for ever. Raises Conflict when its id is there already."""
        files = packed(json.dumps(dict(edition.files or {})).encode())
        row = (
            edition.edition,
            edition.organisation,
            edition.digest,
            microseconds(edition.released_at),
            files,
        )
        self._database.insert(cursor, released_editions, [row])

    def retire(self, cursor: Cursor, edition: str, at: datetime) -> None:
        """Say that an edition is retired. Raises Conflict when it is already."""
        self._database.insert(cursor, retired_editions, [(edition, microseconds(at))])


def _with_files(rows: Sequence[Row]) -> tuple[Draft, Mapping[str, str]] | None:
    if not rows or rows[0][-1] is None:
        return None
    return _draft(rows[0][:-1]), _texts(rows[0][-1], rows[0][1])


def _draft(row: Row) -> Draft:
    organisation, edition, revision, state, digest, savers, saved_at, judged, approver, check, proof = row
    edition_digest, _, guard_rails = (judged or "").partition(" ")
    return Draft(
        edition,
        organisation,
        revision,
        cast(DraftState, state),
        digest,
        tuple(json.loads(savers)),
        moment_of(saved_at),
        (edition_digest, guard_rails) if judged else None,
        approver,
        _bytes(check, edition),
        _bytes(proof, edition),
    )


def _released(row: Row) -> ReleasedEdition:
    edition, organisation, digest, released_at = row
    return ReleasedEdition(edition, organisation, digest, moment_of(released_at))


def _texts(kept: bytes, edition: str) -> Mapping[str, str]:
    data = _bytes(kept, edition)
    texts: Mapping[str, str] = json.loads(data or b"{}")
    return texts


def _bytes(kept: bytes | None, edition: str) -> bytes | None:
    if kept is None:
        return None
    data = unpacked(bytes(kept))
    if data is None:
        raise damaged(f"What is kept of the edition {edition} cannot be read.")
    return data
