"""Pages of stored decisions, found by what they are about, newest first, a page at a time.

A page is cut by the position of its last decision in the log, so decisions that are written meanwhile never
shift it. The cursor carries a mark of who asked for what, so that one taken along to another question, or by
another organisation, is refused instead of answering something else.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime, time
from typing import Any, Final, Protocol

import orjson

from limbtier.api.errors import InvalidQuery
from limbtier.domain.assessment import UNITED_KINGDOM
from limbtier.domain.caller import Caller
from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.entry import DecisionFilter, FoundDecision
from limbtier.domain.episode import PATTERN as EPISODE_PATTERN
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.use_cases.assessment_request import EDITION_PATTERN, MOMENT_PATTERN

MOST_ON_A_PAGE: Final = 100
USUAL_ON_A_PAGE: Final = 20
NAME_PATTERN: Final = "^[a-z][a-z0-9_-]{0,79}$"
DAY_PATTERN: Final = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
CURSOR_PATTERN: Final = "^[0-9]{1,18}\\.[0-9a-f]{16}$"
PARAMETERS: Final = (
    "episode",
    "edition",
    "tier",
    "disposition",
    "rule",
    "decided_from",
    "decided_before",
    "limit",
    "cursor",
)
_PATTERNS: Final = {
    "episode": (EPISODE_PATTERN, "Give the episode reference as it was sent with the assessment."),
    "edition": (EDITION_PATTERN, "Write set and version, such as core-2026.1.0."),
    "tier": (NAME_PATTERN, "Give the name of a tier, such as mild."),
    "rule": (NAME_PATTERN, "Give the id of a rule, such as wet-review."),
    "limit": ("^[0-9]{1,4}$", f"Give a whole number from 1 to {MOST_ON_A_PAGE}."),
    "cursor": (CURSOR_PATTERN, "Give `next` of the page before, unchanged."),
}


class Decisions(Protocol):
    """Where decisions are found."""

    def find_decisions(
        self, wanted: DecisionFilter, before: int | None, limit: int
    ) -> Sequence[FoundDecision]:
        """Decisions that fit, newest position first, only those at positions lower than `before`."""


@dataclass(frozen=True, slots=True)
class Page:
    """What was asked for, read from a query."""

    wanted: DecisionFilter
    before: int | None
    limit: int


def read_page(query: Mapping[str, str], caller: Caller) -> Page:
    """The page a query asks for, of the caller's own organisation. Raises InvalidQuery that names every bad
    parameter."""
    found: list[Diagnostic] = []
    for name, (pattern, advice) in _PATTERNS.items():
        if name in query and not re.fullmatch(pattern.removeprefix("^").removesuffix("$"), query[name]):
            found.append(_bad(name, advice))
    disposition = query.get("disposition")
    if disposition is not None and disposition not in DISPOSITIONS:
        found.append(
            _bad(
                "disposition", did_you_mean(disposition[:60], DISPOSITIONS, f"Use {', '.join(DISPOSITIONS)}.")
            )
        )
    limit = USUAL_ON_A_PAGE
    if "limit" in query and not any("`limit`" in item.message for item in found):
        limit = int(query["limit"])  # only now: Python refuses to read thousands of digits
        if not 1 <= limit <= MOST_ON_A_PAGE:
            found.append(_bad("limit", _PATTERNS["limit"][1]))
    wanted = DecisionFilter(
        organisation=caller.organisation,
        episode=query.get("episode"),
        edition=query.get("edition"),
        tier=query.get("tier"),
        disposition=disposition,
        rule=query.get("rule"),
        decided_from=_moment("decided_from", query, found),
        decided_before=_moment("decided_before", query, found),
    )
    before: int | None = None
    if "cursor" in query and not any("`cursor`" in item.message for item in found):
        place, _, mark = query["cursor"].partition(".")
        if mark != _mark(wanted, int(place)):
            advice = "Ask for the first page, without a cursor."
            found.append(Diagnostic("foreign-cursor", "The cursor belongs to another question.", advice))
        before = int(place)
    if found:
        raise InvalidQuery(found)
    return Page(wanted, before, limit)


def find(decisions: Decisions, page: Page) -> dict[str, Any]:
    """The page as a record; `next` is the cursor of the page after it, or null. Raises StoreUnavailable."""
    found = decisions.find_decisions(page.wanted, page.before, page.limit + 1)
    shown = found[: page.limit]
    return {
        "decisions": [
            {
                "id": one.id,
                "decided_at": one.decided_at.astimezone(UTC).isoformat(),
                "edition": one.edition,
                "episode": one.episode,
                "limbs": {
                    limb.side: {"tier": limb.tier, "disposition": limb.disposition} for limb in one.limbs
                },
                "position": one.position,
            }
            for one in shown
        ],
        "next": f"{shown[-1].position}.{_mark(page.wanted, shown[-1].position)}"
        if len(found) > page.limit
        else None,
    }


def _mark(wanted: DecisionFilter, place: int) -> str:
    """What ties a cursor to its question. It guards nothing: every query is of one organisation anyway."""
    question = [str(getattr(wanted, field.name)) for field in fields(wanted)]
    return hashlib.sha256(orjson.dumps([place, *question])).hexdigest()[:16]


def _moment(name: str, query: Mapping[str, str], found: list[Diagnostic]) -> datetime | None:
    """A moment with its offset, or the start of a day by United Kingdom clocks."""
    text = query.get(name)
    if text is None:
        return None
    try:
        if re.fullmatch(DAY_PATTERN.strip("^$"), text):
            return datetime.combine(datetime.fromisoformat(text).date(), time(), UNITED_KINGDOM).astimezone(
                UTC
            )
        if re.fullmatch(MOMENT_PATTERN.removeprefix("^").removesuffix("$"), text):
            return datetime.fromisoformat(text).astimezone(UTC)
    except (ValueError, OverflowError):
        message = f"The query parameter `{name}` is no day or moment that exists."
        found.append(Diagnostic("impossible-date", message, "Give a day that exists, from the year 1 on."))
        return None
    found.append(_bad(name, "Write a day such as 2026-03-02, or a moment with its offset."))
    return None


def _bad(name: str, advice: str) -> Diagnostic:
    return Diagnostic("bad-parameter", f"The query parameter `{name}` cannot be used.", advice)
