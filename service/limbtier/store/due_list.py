"""Finds the episodes that need somebody: by urgency, then since when, then reference; a page at a time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Final, NamedTuple

from sqlalchemy import ColumnElement, Select, and_, case, func, or_, select, tuple_

from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.due_reviews import STATUSES, DueEpisode, DueFilter, Status
from limbtier.domain.episode_state import Part
from limbtier.domain.episode_text import read_part
from limbtier.store.database import Database, Row
from limbtier.store.faults import damaged
from limbtier.store.packing import unpacked
from limbtier.store.tables import episode_parts, episodes

_COLUMNS: Final = (
    episodes.c.last_position,
    episodes.c.reference,
    episodes.c.attention_on,
    episodes.c.review_due_on,
    episodes.c.stuck_on,
    episodes.c.assessment_on,
    episodes.c.tier,
    episodes.c.disposition,
    episodes.c.calendar,
)


class DueMark(NamedTuple):
    """The place of an episode in the list."""

    urgency: int
    since: date
    reference: str


def mark_of(episode: DueEpisode) -> DueMark:
    """The place of an episode in the list: the most urgent disposition first, then the longest in need."""
    urgency = next(place for place, name in enumerate(DISPOSITIONS) if name == episode.disposition)
    return DueMark(urgency, episode.since, episode.reference)


class DueTable:
    """The due list of a database. Every method raises StoreUnavailable."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def find(self, wanted: DueFilter, after: DueMark | None, limit: int) -> list[DueEpisode]:
        """At most so many episodes that fit and come after a place."""
        found: list[DueEpisode] = []
        for urgency in range(after.urgency if after else 0, len(DISPOSITIONS)):
            query = self._fitting(wanted, urgency)
            if after is not None and urgency == after.urgency:
                place = (after.since.isoformat(), after.reference)
                query = query.where(tuple_(episodes.c.attention_on, episodes.c.reference) > place)
            query = query.order_by(episodes.c.attention_on, episodes.c.reference).limit(limit - len(found))
            found += map(_episode, self._database.select(query))
            if len(found) == limit:
                break
        return found

    def counts(self, wanted: DueFilter) -> dict[str, int]:
        """How many episodes fit in all, as `all`, and with each status; one may have several."""
        held = _held(wanted.by)
        sums = [func.coalesce(func.sum(case((held[name], 1), else_=0)), 0) for name in STATUSES]
        row = self._database.select(
            select(func.count(), *sums)
            .select_from(episodes)
            .where(episodes.c.urgency.in_(range(len(DISPOSITIONS))), *_conditions(wanted))
        )[0]
        return {"all": int(row[0])} | {
            name: int(count) for name, count in zip(STATUSES, row[1:], strict=True)
        }

    def reviews(self, organisation: str, first: date, last: date, limit: int) -> list[DueEpisode]:
        """Open episodes whose review is due on the days from `first` to `last`, the earliest first."""
        query = (
            select(*_COLUMNS)
            .where(
                episodes.c.organisation == organisation,
                episodes.c.review_due_on >= first.isoformat(),
                episodes.c.review_due_on <= last.isoformat(),
            )
            .order_by(episodes.c.review_due_on, episodes.c.reference)
            .limit(limit)
        )
        return [_episode(row) for row in self._database.select(query)]

    def parts(self, organisation: str) -> Iterator[tuple[str, Sequence[Part]]]:
        """Every episode of an organisation with its parts in the order in which they arrived."""
        text = self._database.text(
            select(episode_parts.c.reference, episode_parts.c.data)
            .where(episode_parts.c.organisation == organisation)
            .order_by(episode_parts.c.reference, episode_parts.c.position)
        )
        reference: str | None = None
        parts: list[Part] = []
        with self._database.reading() as cursor:
            cursor.execute(text, (organisation,))
            for name, kept in cursor:
                if name != reference and parts and reference is not None:
                    yield reference, parts
                    parts = []
                reference = name
                data = unpacked(kept) if isinstance(kept, bytes) else None
                if data is None:
                    message = (
                        "What is kept of an episode cannot be read; `limbtier episodes` works it out anew."
                    )
                    raise damaged(message)
                parts.append(read_part(data))
        if parts and reference is not None:
            yield reference, parts

    def _fitting(self, wanted: DueFilter, urgency: int) -> Select[tuple[object, ...]]:
        return select(*_COLUMNS).where(episodes.c.urgency == urgency, *_conditions(wanted))


def _conditions(wanted: DueFilter) -> Iterator[ColumnElement[bool]]:
    yield episodes.c.organisation == wanted.organisation
    yield episodes.c.attention_on <= wanted.by.isoformat()
    if wanted.statuses:
        held = _held(wanted.by)
        yield or_(*(held[name] for name in wanted.statuses))
    if wanted.tiers:
        yield episodes.c.tier.in_(wanted.tiers)
    if wanted.calendars:
        yield episodes.c.calendar.in_(wanted.calendars)


def _held(day: date) -> dict[Status, ColumnElement[bool]]:
    """What each status means on a day; `DueEpisode.statuses` says the same of one episode."""
    today = day.isoformat()
    return {
        "overdue": episodes.c.review_due_on < today,
        "due": episodes.c.review_due_on == today,
        "stuck_on_starter_tier": and_(episodes.c.stuck_on.is_not(None), episodes.c.stuck_on <= today),
        "assessment_overdue": and_(episodes.c.assessment_on.is_not(None), episodes.c.assessment_on <= today),
    }


def _episode(row: Row) -> DueEpisode:
    position, reference, since, due, stuck, assessment, tier, disposition, calendar = row
    return DueEpisode(
        position,
        reference,
        date.fromisoformat(since),
        date.fromisoformat(due),
        None if stuck is None else date.fromisoformat(stuck),
        None if assessment is None else date.fromisoformat(assessment),
        tier,
        disposition,
        calendar,
    )
