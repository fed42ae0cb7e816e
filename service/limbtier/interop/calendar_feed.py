"""Due reviews as an iCalendar feed (RFC 5545): one all-day event for each open episode, on its due date.

An event names the pseudonym of the episode, the tier and the last disposition, and nothing else of a
person. Its UID stays while its episode does, and SEQUENCE grows with every contact or event, so that a review
that was moved moves in the calendar, too. It blocks no time (TRANSP).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Final

from icalendar import Calendar, Event

from limbtier.domain.due_reviews import DueEpisode

MEDIA_TYPE: Final = "text/calendar; charset=utf-8"
_ONE_DAY: Final = timedelta(days=1)


def calendar_feed(
    episodes: Iterable[DueEpisode], organisation: str, origin: str, caution: str, at: datetime
) -> bytes:
    """The feed. `origin` names the log that the decisions are in, `caution` is shown in every event, and `at`
    is the moment at which it was made, in UTC."""
    calendar = Calendar()
    calendar.add("prodid", "-//limbtier//due reviews//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"Reviews due, {organisation}")
    for episode in episodes:
        name = sha256(f"{organisation}\n{episode.reference}".encode()).hexdigest()[:32]
        event = Event()
        event.add("uid", f"{name}@{origin.partition('/')[0]}")
        event.add("dtstamp", at)
        event.add("dtstart", episode.review_due_on)
        event.add("dtend", episode.review_due_on + _ONE_DAY)
        event.add("sequence", episode.position)
        event.add("summary", f"Review {episode.reference}: {episode.tier}")
        words = episode.disposition.replace("_", " ")
        event.add("description", f"Last decision: {words}. {caution}")
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    return bytes(calendar.to_ical())
