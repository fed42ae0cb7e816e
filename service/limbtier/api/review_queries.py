"""What is asked of the due list and of a caseload, read from the query of a request."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from datetime import date
from fractions import Fraction
from typing import Final

import orjson

from limbtier.api.errors import InvalidQuery
from limbtier.domain.due_reviews import STATUSES, DueFilter
from limbtier.domain.episode import PATTERN as EPISODE_PATTERN
from limbtier.domain.episode_state import TIERS
from limbtier.domain.visit_scenario import VisitRange
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.store.due_list import DueMark

MOST_ON_A_PAGE: Final = 500
USUAL_ON_A_PAGE: Final = 50
MOST_WEEKS: Final = 52
DAY_PATTERN: Final = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
VISITS_PATTERN: Final = r"^[0-9]{1,2}(\.[0-9])?-[0-9]{1,2}(\.[0-9])?$"
_REFERENCE: Final = EPISODE_PATTERN.strip("^$")
CURSOR_PATTERN: Final = rf"^[0-9]\.[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}\.{_REFERENCE}\.[0-9a-f]{{16}}$"
SCENARIO_TIERS: Final = TIERS[1:]
TIERS_ON_LEGS: Final = ("none", *TIERS)


class Query:
    """Reads parameters one by one and keeps what is wrong, to name it all at once."""

    def __init__(self, given: Mapping[str, str]) -> None:
        self._given = given
        self.found: list[Diagnostic] = []

    def day(self, name: str) -> date | None:
        """A day, or None when the parameter is absent or wrong."""
        text = self._given.get(name)
        if text is None:
            return None
        if not re.fullmatch(DAY_PATTERN, text):
            self._bad(name, "Write a day such as 2026-03-02.")
            return None
        try:
            day = date.fromisoformat(text)
        except ValueError:
            self._say("impossible-date", name, "is no day that exists", "Write a day such as 2026-03-02.")
            return None
        if not 1900 <= day.year <= 2199:
            self._say("out-of-range", name, "is too far away", "Write a day from 1900 to 2199.")
            return None
        return day

    def number(self, name: str, usual: int, most: int) -> int:
        """A whole number from 1 on."""
        text = self._given.get(name)
        if text is None:
            return usual
        if not re.fullmatch("[0-9]{1,4}", text) or not 1 <= int(text) <= most:
            self._bad(name, f"Give a whole number from 1 to {most}.")
            return usual
        return int(text)

    def words(self, name: str, known: tuple[str, ...]) -> tuple[str, ...]:
        """Some of a closed list of words, with commas between them."""
        text = self._given.get(name)
        if text is None:
            return ()
        words = text[:400].split(",")
        for word in words:
            if word not in known:
                self._bad(name, did_you_mean(word[:60], known, f"Use some of {', '.join(known)}."))
                return ()
        return tuple(dict.fromkeys(words))

    def visits(self, name: str) -> VisitRange | None:
        """A range of visits, the fewest and the most with a hyphen between them."""
        text = self._given.get(name)
        if text is None:
            return None
        if re.fullmatch(VISITS_PATTERN, text):
            least, most = map(Fraction, text.split("-"))
            if least <= most:
                return VisitRange(least, most)
            advice = "Write the fewest visits first, such as 2-3."
            self._say("range-out-of-order", name, "begins with the larger number", advice)
            return None
        self._bad(name, "Write the fewest and the most visits of a leg a week, such as 2-3 or 0.5-1.")
        return None

    def mark(self, name: str, wanted: DueFilter) -> DueMark | None:
        """The place that a cursor names, if it belongs to this question."""
        text = self._given.get(name)
        if text is None:
            return None
        if len(text) > 120 or not re.fullmatch(CURSOR_PATTERN, text):
            self._bad(name, "Give `next` of the page before, unchanged.")
            return None
        place, _, sealed = text.rpartition(".")
        urgency, since, reference = place.split(".", 2)
        try:
            mark: DueMark | None = DueMark(int(urgency), date.fromisoformat(since), reference)
        except ValueError:
            mark = None
        if mark is None or sealed != _seal(mark, wanted):
            advice = "Ask for the first page, without a cursor."
            self.found.append(Diagnostic("foreign-cursor", "The cursor belongs to another question.", advice))
        return mark

    def refuse(self) -> None:
        """Raise InvalidQuery with all that is wrong, if anything is."""
        if self.found:
            raise InvalidQuery(self.found)

    def out_of_order(self, name: str, advice: str) -> None:
        """A day does not come after another."""
        self._say("dates-out-of-order", name, "does not come after the other", advice)

    def in_future(self, name: str) -> None:
        """A day has not come yet."""
        self._say("future-date", name, "lies in the future", "Write today or a day before.")

    def _say(self, code: str, name: str, what: str, advice: str) -> None:
        self.found.append(Diagnostic(code, f"The query parameter `{name}` {what}.", advice))

    def _bad(self, name: str, advice: str) -> None:
        message = f"The query parameter `{name}` cannot be used."
        self.found.append(Diagnostic("bad-parameter", message, advice))


def due_filter(query: Query, organisation: str, today: date, calendars: tuple[str, ...]) -> DueFilter:
    """Which episodes are wanted, as on the day that is named, or today."""
    statuses = query.words("status", STATUSES)
    return DueFilter(
        organisation,
        query.day("on") or today,
        tuple(name for name in STATUSES if name in statuses),
        query.words("tier", TIERS_ON_LEGS),
        query.words("calendar", calendars),
    )


def cursor(mark: DueMark, wanted: DueFilter) -> str:
    """The cursor of a place in the list of one question."""
    return f"{mark.urgency}.{mark.since.isoformat()}.{mark.reference}.{_seal(mark, wanted)}"


def _seal(mark: DueMark, wanted: DueFilter) -> str:
    """What ties a cursor to its question. It guards nothing: every query is of one organisation anyway."""
    question = [wanted.organisation, wanted.by.isoformat(), wanted.statuses, wanted.tiers, wanted.calendars]
    return hashlib.sha256(orjson.dumps([mark.urgency, mark.since, mark.reference, question])).hexdigest()[:16]
