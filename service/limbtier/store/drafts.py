"""Drafts of editions, and editions released through the service, in the database.

What changes them is kept together with its entry of the log, or not at all.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final, cast

from sqlalchemy import Table, bindparam, delete, select

from limbtier.domain.draft import Draft, DraftState, ReleasedEdition
from limbtier.domain.entry import Also
from limbtier.store.database import Cursor, Database, Row
from limbtier.store.faults import damaged
from limbtier.store.packing import packed, unpacked
from limbtier.store.tables import drafts, microseconds, moment_of, released_editions, retired_editions

_DISCARDED: Final = "discarded"


class Overtaken(Exception):
    """Somebody else changed what a step was about to change; nothing was written. Look again."""


class DraftTable:
    """The drafts of all organisations. Every method raises StoreUnavailable."""

    def __init__(self, database: Database) -> None:
        self._database = database
        columns = drafts.c
        which = (columns.organisation == bindparam("organisation"), columns.edition == bindparam("edition"))
        head = [one for one in columns if one.name != "files"]
        self._find = database.text(select(*head, columns.files).where(*which))
        self._head = database.text(select(*head).where(*which))
        self._delete = database.text(delete(drafts).where(*which))
        self._all = database.text(
            select(*head)
            .where(columns.organisation == bindparam("organisation"), columns.state != bindparam("state"))
            .order_by(columns.edition)
        )

    def all(self, organisation: str) -> list[Draft]:
        """Every draft of an organisation that was not discarded, by the id of the edition."""
        return [_draft(row) for row in self._database.rows(self._all, organisation, _DISCARDED)]

    def find(self, organisation: str, edition: str) -> tuple[Draft, Mapping[str, str]] | None:
        """A draft and its files, a discarded one too, which has none; None where there never was one."""
        rows = self._database.rows(self._find, organisation, edition)
        return (_draft(rows[0][:-1]), _texts(rows[0][-1], edition)) if rows else None

    def putting(self, before: Draft | None, after: Draft, files: Mapping[str, str]) -> Also:
        """Puts a draft where it was `before`, together with an entry. That meets Overtaken when it is not as
        it was before."""
        row = (
            after.organisation,
            after.edition,
            after.revision,
            after.state,
            after.digest,
            json.dumps(after.savers),
            microseconds(after.saved_at),
            None if after.judged is None else " ".join(after.judged),
            after.approver,
            None if after.check is None else packed(after.check),
            None if after.proof is None else packed(after.proof),
            None if after.state == _DISCARDED else packed(json.dumps(dict(files)).encode()),
        )

        def put(cursor: Cursor, _position: int) -> None:
            cursor.execute(self._head, (after.organisation, after.edition))
            found = cursor.fetchone()
            if (None if found is None else _draft(tuple(found))) != before:
                raise Overtaken
            cursor.execute(self._delete, (after.organisation, after.edition))
            self._database.insert(cursor, drafts, [row])

        return put


@dataclass(frozen=True, slots=True)
class Listing:
    """What was released through the service, without files, and which editions were retired through it."""

    released: tuple[ReleasedEdition, ...]
    retired: frozenset[str]


class EditionTable:
    """What was released and retired through the service. Every method raises StoreUnavailable."""

    def __init__(self, database: Database) -> None:
        self._database = database
        columns = released_editions.c
        head = [one for one in columns if one.name != "files"]
        self._released = database.text(select(*head).order_by(columns.edition))
        self._files = database.text(select(*columns).where(columns.edition == bindparam("edition")))
        self._retired = database.text(select(retired_editions.c.edition))

    def listing(self) -> Listing:
        """All of them, as they are now."""
        with self._database.reading() as cursor:
            return self._listing(cursor)

    def with_files(self, edition: str) -> ReleasedEdition | None:
        """An edition with its files, or None."""
        rows = self._database.rows(self._files, edition)
        return replace(_released(rows[0][:-1]), files=_texts(rows[0][-1], edition)) if rows else None

    def releasing(self, seen: Listing, edition: ReleasedEdition) -> Also:
        """Keeps an edition for ever, together with an entry. That meets Overtaken when what was released or
        retired is not what was `seen`."""
        files = packed(json.dumps(dict(edition.files or {})).encode())
        at = microseconds(edition.released_at)
        row = (edition.edition, edition.organisation, edition.digest, at, files)
        return self._adding(seen, released_editions, row)

    def retiring(self, seen: Listing, edition: str, at: datetime) -> Also:
        """Says that an edition is retired, in the same way."""
        return self._adding(seen, retired_editions, (edition, microseconds(at)))

    def _adding(self, seen: Listing, table: Table, row: Row) -> Also:
        def add(cursor: Cursor, _position: int) -> None:
            if self._listing(cursor) != seen:
                raise Overtaken
            self._database.insert(cursor, table, [row])

        return add

    def _listing(self, cursor: Cursor) -> Listing:
        cursor.execute(self._released)
        released = tuple(_released(tuple(row)) for row in cursor.fetchall())
        cursor.execute(self._retired)
        return Listing(released, frozenset(row[0] for row in cursor.fetchall()))


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


def _texts(kept: bytes | None, edition: str) -> Mapping[str, str]:
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
