"""Episodes as they are kept beside the log: the state of each, and its parts to fold anew.

All of it can be worked out from the log alone; what is here saves reading it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from sqlalchemy import bindparam, delete, func, select, update

from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.due_reviews import AttentionDays
from limbtier.domain.entry import Also
from limbtier.domain.episode_state import EpisodeEvent, EpisodeState, Part, rank
from limbtier.domain.episode_text import read_part, read_state, written
from limbtier.store.database import Cursor, Database, Row
from limbtier.store.faults import Conflict, damaged, fault
from limbtier.store.packing import packed, unpacked
from limbtier.store.tables import episode_parts, episodes, microseconds

NOTHING_ON: Final = "none"
CONTACT: Final = "contact"
_URGENCY: Final[Mapping[str, int]] = {name: place for place, name in enumerate(DISPOSITIONS)}


class EpisodeMoved(Conflict):
    """The episode has got another part since it was read; nothing was written."""


class FoundEpisode(NamedTuple):
    """An episode as it is kept: the position of its last part in the log, and its state."""

    last_position: int
    state: EpisodeState


class FoundPart(NamedTuple):
    """A part of an episode and the position of its entry in the log."""

    position: int
    part: Part


class RebuiltEpisode(NamedTuple):
    """An episode as it was worked out from the log; `parts` in the order in which they arrived."""

    organisation: str
    reference: str
    state: EpisodeState
    parts: Sequence[FoundPart]
    attention: AttentionDays


@dataclass(frozen=True, slots=True)
class EpisodeChange:
    """A part to add to an episode, and the state that it then has. `after` is the position of the last part
    that the state was worked out from, None where there was none."""

    organisation: str
    reference: str
    after: int | None
    part: Part
    state: EpisodeState
    attention: AttentionDays


class EpisodeTable:
    """The episodes of a database. Every method raises StoreUnavailable."""

    def __init__(self, database: Database) -> None:
        self._database = database
        of_episode = (
            episodes.c.organisation == bindparam("organisation"),
            episodes.c.reference == bindparam("reference"),
        )
        parts_of = (
            episode_parts.c.organisation == bindparam("organisation"),
            episode_parts.c.reference == bindparam("reference"),
        )
        text = database.text
        self._find = text(select(episodes.c.last_position, episodes.c.state).where(*of_episode))
        self._last = text(select(episodes.c.last_position).where(*of_episode))
        self._parts = text(
            select(episode_parts.c.position, episode_parts.c.data)
            .where(*parts_of)
            .order_by(episode_parts.c.position)
        )
        self._count = text(select(func.count()).select_from(episode_parts).where(*parts_of))
        self._one = text(
            select(episode_parts.c.position, episode_parts.c.data).where(
                *parts_of, episode_parts.c.id == bindparam("part")
            )
        )
        columns = [
            column.name for column in episodes.columns if column.name not in ("organisation", "reference")
        ]
        self._update = text(
            update(episodes).values({name: bindparam(f"new_{name}") for name in columns}).where(*of_episode)
        )
        self._clear = [text(delete(table)) for table in (episodes, episode_parts)]

    def find(self, organisation: str, reference: str) -> FoundEpisode | None:
        """The episode, or None."""
        rows = self._database.rows(self._find, organisation, reference)
        if not rows:
            return None
        position, kept = rows[0]
        return FoundEpisode(position, read_state(_unpacked(kept)))

    def parts(self, organisation: str, reference: str) -> list[FoundPart]:
        """All its parts in the order in which they arrived, corrected ones too."""
        return [_part(row) for row in self._database.rows(self._parts, organisation, reference)]

    def newest_parts(self, organisation: str, reference: str, limit: int) -> tuple[list[FoundPart], int]:
        """Its last parts, the newest arrival first, and how many there are in all."""
        found = self._database.select(
            select(episode_parts.c.position, episode_parts.c.data)
            .where(episode_parts.c.organisation == organisation, episode_parts.c.reference == reference)
            .order_by(episode_parts.c.position.desc())
            .limit(limit)
        )
        count: int = self._database.rows(self._count, organisation, reference)[0][0]
        return [_part(row) for row in found], count

    def part(self, organisation: str, reference: str, part_id: str) -> FoundPart | None:
        """One part of an episode by the id of its entry."""
        rows = self._database.rows(self._one, organisation, reference, part_id)
        return _part(rows[0]) if rows else None

    def changing(self, change: EpisodeChange) -> Also:
        """Keeps a part and the new state together with their entry, which meets EpisodeMoved when the episode
        has got another part meanwhile."""
        data = packed(written(change.part))
        state = packed(written(change.state))

        def keep(cursor: Cursor, position: int) -> None:
            name = (change.organisation, change.reference)
            cursor.execute(self._last, name)
            row = cursor.fetchone()
            if (None if row is None else row[0]) != change.after:
                message = "The episode got another contact or event meanwhile."
                raise EpisodeMoved(fault(message, "Send the request again.").diagnostics)
            values = state_row(change.state, change.attention, position, state)
            if row is None:
                self._database.insert(cursor, episodes, [(*name, *values)])
            else:
                cursor.execute(self._update, (*values, *name))
            self._database.insert(cursor, episode_parts, [_part_row(*name, change.part, position, data)])

        return keep

    def replace_all(self, rebuilt: Iterable[RebuiltEpisode]) -> int:
        """Put episodes that were worked out from the log in the place of all that are kept; how many."""
        count = 0
        insert = self._database.insert
        with self._database.writing() as cursor:
            for text in self._clear:
                cursor.execute(text)
            for organisation, reference, state, parts, attention in rebuilt:
                row = state_row(state, attention, parts[-1].position, packed(written(state)))
                insert(cursor, episodes, [(organisation, reference, *row)])
                rows = [
                    _part_row(organisation, reference, one.part, one.position, packed(written(one.part)))
                    for one in parts
                ]
                insert(cursor, episode_parts, rows)
                count += 1
        return count


def state_row(state: EpisodeState, attention: AttentionDays, position: int, kept: bytes) -> Row:
    """The columns of an episode after its names."""
    due = state.review_due_on
    tiers = [leg.tier or NOTHING_ON for leg in state.limbs.values()]
    urgent = min((leg.disposition for leg in state.limbs.values()), key=_URGENCY.__getitem__)
    days = [day for day in (due, attention.stuck_on, attention.assessment_on) if day is not None]
    since = min(days, default=None) if state.closed_on is None else None
    return (
        position,
        state.opened_on.isoformat(),
        None if due is None else due.isoformat(),
        max(tiers, key=rank, default=NOTHING_ON),
        urgent,
        state.calendar,
        None if state.closed_on is None else state.closed_on.isoformat(),
        state.closed_as,
        kept,
        _URGENCY[urgent],
        *(
            None if day is None else day.isoformat()
            for day in (since, attention.stuck_on, attention.assessment_on)
        ),
    )


def _part_row(organisation: str, reference: str, part: Part, position: int, data: bytes) -> Row:
    kind = part.kind if isinstance(part, EpisodeEvent) else CONTACT
    return position, part.id, organisation, reference, microseconds(part.at), kind, part.corrects, data


def _part(row: Row) -> FoundPart:
    return FoundPart(row[0], read_part(_unpacked(row[1])))


def _unpacked(kept: object) -> bytes:
    data = unpacked(kept) if isinstance(kept, bytes) else None
    if data is None:
        raise damaged("What is kept of an episode cannot be read; `limbtier episodes` works it out anew.")
    return data
