"""The feed is read back by icalendar and by ics, a library that did not write it (RFC 5545)."""

from __future__ import annotations

from datetime import UTC, date, datetime

import ics
from icalendar import Calendar

from limbtier.domain.due_reviews import DueEpisode
from limbtier.interop.calendar_feed import calendar_feed

AT = datetime(2026, 11, 25, 20, 15, tzinfo=UTC)
CAUTION = (
    "Local policy and a licensed clinician decide; they do so, always: \\ backslash, comma; \n new line."
)


def due(reference: str, day: date, position: int = 7) -> DueEpisode:
    return DueEpisode(position, reference, day, day, None, None, "mild", "step_up", "england")


def feed(*episodes: DueEpisode) -> bytes:
    return calendar_feed(episodes, "quillerbeck", "limbtier.invalid/log", CAUTION, AT)


DAYS = (
    date(2026, 3, 29),
    date(2026, 10, 25),
    date(2028, 2, 29),
    date(2026, 12, 31),
)  # clocks, leap day, year end


def test_another_library_reads_the_same_days_back() -> None:
    text = feed(*(due(f"QB-{place}", day) for place, day in enumerate(DAYS))).decode()
    found = sorted(ics.Calendar(text).events, key=lambda event: event.name)
    assert [event.begin.date() for event in found] == list(DAYS)
    assert all(event.all_day for event in found)
    assert [event.name for event in found] == [f"Review QB-{place}: mild" for place in range(4)]
    assert all(event.description == f"Last decision: step up. {CAUTION}" for event in found)


def test_lines_are_as_rfc_5545_wants_them() -> None:
    data = feed(due("Q" * 64, DAYS[0]))
    lines = data.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)  # section 3.1, in octets
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert data.startswith(b"BEGIN:VCALENDAR\r\n")
    assert data.endswith(b"END:VCALENDAR\r\n")
    for needed in (b"PRODID:", b"VERSION:2.0", b"UID:", b"DTSTAMP:20261125T201500Z", b"DTSTART;VALUE=DATE:"):
        assert needed in data  # sections 3.6 and 3.6.1


def test_a_review_that_moved_is_the_same_event_of_a_later_sequence() -> None:
    before, after = (
        next(iter(Calendar.from_ical(feed(one)).walk("VEVENT")))
        for one in (due("QB-1", DAYS[0], 4), due("QB-1", DAYS[1], 9))
    )
    assert before["uid"] == after["uid"]
    assert (before["sequence"], after["sequence"]) == (4, 9)


def test_the_same_reference_of_another_organisation_is_another_event() -> None:
    other = calendar_feed([due("QB-1", DAYS[0])], "elsewhere", "limbtier.invalid/log", CAUTION, AT)
    uids = {
        str(next(iter(Calendar.from_ical(data).walk("VEVENT")))["uid"])
        for data in (other, feed(due("QB-1", DAYS[0])))
    }
    assert len(uids) == 2


def test_no_due_review_is_an_empty_calendar() -> None:
    assert Calendar.from_ical(feed()).walk("VEVENT") == []
