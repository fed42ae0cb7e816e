"""Who needs somebody: the due list as a record, a table and a calendar feed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from limbtier.domain.due_reviews import STATUSES, DueEpisode, DueFilter
from limbtier.store.due_list import DueMark, DueTable, mark_of


def due_page(
    table: DueTable, wanted: DueFilter, after: DueMark | None, limit: int
) -> tuple[dict[str, Any], DueMark | None]:
    """A page of the list as it is answered, without its cursor, and the place after which the next begins;
    None where this is the last. The counts are of the whole list and stand on its first page alone."""
    found = table.find(wanted, after, limit + 1)
    shown = found[:limit]
    return {
        "counts": table.counts(wanted) if after is None else None,
        "episodes": [due_record(one, wanted.by) for one in shown],
        "on": wanted.by.isoformat(),
    }, mark_of(shown[-1]) if len(found) > limit else None


def due_record(one: DueEpisode, day: date) -> dict[str, Any]:
    """One episode of the list."""
    return {
        "assessment_overdue_since": _day(one.assessment_on if _held(one.assessment_on, day) else None),
        "calendar": one.calendar,
        "days_overdue": max((day - one.review_due_on).days, 0),
        "disposition": one.disposition,
        "reference": one.reference,
        "review_due_on": one.review_due_on.isoformat(),
        "since": one.since.isoformat(),
        "statuses": list(one.statuses(day)),
        "stuck_since": _day(one.stuck_on if _held(one.stuck_on, day) else None),
        "tier": one.tier,
    }


def due_table(counts: Mapping[str, int], episodes: Sequence[DueEpisode], day: date) -> str:
    """The list for a terminal."""
    head = ", ".join(f"{counts[name]:,} {name.replace('_', ' ')}" for name in STATUSES)
    lines = [f"On {day:%a} {day.day} {day:%B %Y}: {counts['all']:,} episodes need somebody ({head})."]
    rows = [("episode", "review due", "late", "last decision", "tier", "why")]
    for one in episodes:
        late = (day - one.review_due_on).days
        why = ", ".join(name.replace("_", " ") for name in one.statuses(day))
        words = one.disposition.replace("_", " ")
        rows.append(
            (
                one.reference,
                one.review_due_on.isoformat(),
                f"{late} d" if late > 0 else "",
                words,
                one.tier,
                why,
            )
        )
    if len(rows) > 1:
        widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
        lines.append("")
        lines += [
            "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip()
            for row in rows
        ]
    if len(episodes) < counts["all"]:
        lines.append(f"... and {counts['all'] - len(episodes):,} more.")
    return "\n".join(lines) + "\n"


def _held(since: date | None, day: date) -> bool:
    return since is not None and since <= day


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
