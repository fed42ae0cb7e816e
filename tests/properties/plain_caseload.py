"""A second reading of a log: whose review is due, who is stuck, and how the legs of a caseload went.

Written by hand from the clinical pathway, the words of `rules/pathway` and of `rules/caseload.yaml`, and the
README. It reads the records and events of a log as JSON and nothing else of the service: no fold, no watch
rule, no table. It is slow on purpose: each day is looked at by itself.

Readings, where the words leave room:

- A leg that a decision waits for is as it was found on that day; from the next day on it is not known what is
  on it, until something else says so.
- Stuck and overdue count from the last contact of a leg at the earliest, but a full assessment from the 15th
  day after the first contact: only what was so before the last contact too is known of it from the log's
  latest word alone. Once it began it lasts until the next contact or event.
- Of several parts on one day, the last says what was so at the end of the day.
"""

from __future__ import annotations

import json
import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from typing import Any, Final

ORDER: Final = ("none", "withhold", "support", "mild", "moderate", "strong")
URGENT: Final = (
    "stop_and_escalate",
    "cannot_decide_yet",
    "step_down",
    "start",
    "step_up",
    "continue",
    "not_indicated",
)
ENDS: Final = ("healed", "died", "moved_away")
STARTER: Final = ("support", "mild")
UNKNOWN: Final = "not_known"
LOOKED_AHEAD: Final = 60
"""Days after the last contact that are looked at for becoming stuck: its rules count to 14."""

ANKLES: Final = ("dorsalis_pedis_mmhg", "posterior_tibial_mmhg")
ARMS: Final = ("arm_pressure_left_mmhg", "arm_pressure_right_mmhg")
TEST: Final = (
    "abpi_availability",
    *ANKLES,
    "ankle_not_compressible",
    "reported_abpi",
    "arterial_test_on",
    *ARMS,
)


def british_day(moment: datetime) -> date:
    """The day by United Kingdom clocks, which are an hour ahead of UTC from 01:00 UTC of the last Sunday of
    March until 01:00 UTC of the last Sunday of October (Summer Time Order 2002)."""
    utc = moment.astimezone(UTC)
    first, last = (_last_sunday(utc.year, month) + timedelta(hours=1) for month in (3, 10))
    return (utc + timedelta(hours=first <= utc < last)).date()


def _last_sunday(year: int, month: int) -> datetime:
    day = datetime(year, month, 31, tzinfo=UTC)
    while day.weekday() != 6:
        day -= timedelta(days=1)
    return day


@dataclass(slots=True)
class Note:
    """A contact or an event as it stands in the log. `legs` are what a contact says of each."""

    id: str
    at: datetime
    on: date
    corrects: str | None
    kind: str
    calendar: str
    person: dict[str, Any]
    legs: dict[str, dict[str, Any]]
    event: dict[str, Any]


def read_log(records: Iterable[Mapping[str, Any]]) -> dict[str, dict[str, list[Note]]]:
    """The notes of each episode of each organisation, in the order in which they arrived."""
    found: dict[str, dict[str, list[Note]]] = defaultdict(lambda: defaultdict(list))
    for record in records:
        organisation = record["caller"]["organisation"]
        if record["kind"] == "episode_event":
            found[organisation][record["episode"]].append(_event_note(record))
        else:
            sent = json.loads(record["received"], parse_float=Fraction)
            found[organisation][sent["episode"]].append(_contact_note(record, sent))
    return {organisation: dict(episodes) for organisation, episodes in found.items()}


def _event_note(record: Mapping[str, Any]) -> Note:
    event = record["event"]
    said = {name: {one["input"]: one["value"] for one in event[name]} for name in ("person", "answers")}
    return Note(
        record["id"],
        datetime.fromisoformat(record["placed_at"]),
        date.fromisoformat(event["happened_on"]),
        event["corrects"],
        event["kind"],
        "",
        said["person"],
        {},
        {**event, "answers": said["answers"]},
    )


def _contact_note(record: Mapping[str, Any], sent: Mapping[str, Any]) -> Note:
    at = datetime.fromisoformat(sent["assessed_at"])
    on_it = {
        one["scope"]: one["value"] for one in record["episode"]["completed"] if one["input"] == "current_tier"
    }
    legs = {}
    for side, limb in record["limbs"].items():
        answers = sent["limbs"][side]
        area = limb["measures"]["wound_area_cm2"]
        legs[side] = {
            "answers": answers,
            "found": answers.get("current_tier", on_it.get(side)),
            "tier": limb["tier"],
            "disposition": limb["disposition"],
            "due": date.fromisoformat(limb["review"]["due_on"]),
            "area": Fraction(area["exact"]) if area["exact"] else area["shown"],
        }
    return Note(
        record["id"],
        at,
        british_day(at),
        sent.get("corrects"),
        "contact",
        sent["calendar"],
        sent["person"],
        legs,
        {},
    )


@dataclass(slots=True)
class LegNow:
    """A leg after some notes. `areas` and `worn` hold what was so after each note that says so."""

    seen_first: date
    seen_last: date
    due: date | None = None
    disposition: str = ""
    on: str | None = None
    since: date | None = None
    waits_since: date | None = None
    began: date | None = None
    area_at_start: Any = None
    area: Any = None
    area_on: date | None = None
    better: date | None = None
    supports: list[date] = field(default_factory=list)
    tests: list[tuple[date, dict[str, Any]]] = field(default_factory=list)
    worn: list[tuple[date, str]] = field(default_factory=list)
    areas: list[tuple[date, Fraction]] = field(default_factory=list)
    results: list[date] = field(default_factory=list)

    @property
    def test(self) -> dict[str, Any] | None:
        """The test that counts: the one of the latest day, of two of a day the one that came last."""
        return max(enumerate(self.tests), key=lambda one: (one[1][0], one[0]))[1][1] if self.tests else None


@dataclass(slots=True)
class EpisodeNow:
    """An episode after some notes."""

    legs: dict[str, LegNow]
    calendar: str
    last_note: str
    ended: tuple[date, str] | None


def counting(notes: Sequence[Note]) -> list[Note]:
    """The notes that nothing corrects, in the order in which it happened."""
    wrong = {note.corrects for note in notes}
    return sorted((note for note in notes if note.id not in wrong), key=lambda note: note.at)


def read_episode(notes: Sequence[Note]) -> EpisodeNow | None:
    """The episode after all notes that count; None while nobody was seen."""
    now: EpisodeNow | None = None
    for note in counting(notes):
        if note.kind == "contact":
            now = now or EpisodeNow({}, "", "", None)
            now.calendar = note.calendar
            for side, said in note.legs.items():
                leg = now.legs.setdefault(side, LegNow(note.on, note.on))
                _contact(leg, note, said)
        elif now is not None:
            for side, leg in now.legs.items():
                if note.event["limb"] in (None, side):
                    _event(leg, note)
            if note.kind in ENDS and now.ended is None:
                now.ended = (note.on, note.kind)
        if now is not None:
            for leg in now.legs.values():
                leg.worn.append((note.on, UNKNOWN if leg.waits_since else leg.on or UNKNOWN))
                if isinstance(leg.area, Fraction):
                    leg.areas.append((note.on, leg.area))
                if leg.test is not None and is_result(leg.test):
                    leg.results.append(_test_day(leg))
    return now


def _test_day(leg: LegNow) -> date:
    return max(day for day, _ in leg.tests)


def _contact(leg: LegNow, note: Note, said: Mapping[str, Any]) -> None:
    answers, day = said["answers"], note.on
    leg.seen_first = min(leg.seen_first, day, _day(answers.get("first_contact_on")) or day)
    leg.seen_last = day
    leg.due, leg.disposition = said["due"], said["disposition"]
    if answers.get("progress") == "better":
        leg.better = day
    area = said["area"]
    if answers.get("wound") == "none":
        area = Fraction(0) if leg.area is not None else None
    elif area == "not_asked" or (isinstance(area, str) and area != "not_done"):
        area = None
    if area is not None:
        leg.area, leg.area_on = area, day
    if leg.area_at_start is None and "start_wound_area_cm2" in answers:
        leg.area_at_start = answers["start_wound_area_cm2"]
    _arrives(leg, said["found"], answers)
    _take_test(leg, {**note.person, **answers}, day)
    _leaves(leg, said, day, area)


def _arrives(leg: LegNow, found: str | None, answers: Mapping[str, Any]) -> None:
    began, since = _day(answers.get("compression_started_on")), _day(answers.get("current_tier_since"))
    if found is not None and found != leg.on:
        leg.on, leg.since, leg.waits_since = found, since, None
        if found == "none":
            leg.began = leg.area_at_start = None
            return
    else:
        leg.since = since or leg.since
    leg.began = leg.began or began


def _leaves(leg: LegNow, said: Mapping[str, Any], day: date, area: Any) -> None:
    waits = said["disposition"] == "cannot_decide_yet"
    if said["tier"] == "support":
        if day not in leg.supports[-1:]:
            leg.supports.append(day)
    elif not (waits and day in leg.supports[-1:]):
        leg.supports.clear()
    if waits:
        leg.waits_since = day
        return
    leg.waits_since = None
    if said["tier"] == "withhold":
        ever = said["disposition"] == "stop_and_escalate" or leg.began is not None or leg.on == "withhold"
        leg.on, leg.since = ("withhold" if ever else "none"), None
    elif said["tier"] != leg.on:
        _put_on(leg, said["tier"], day, area)


def _put_on(leg: LegNow, tier: str, day: date, area: Any) -> None:
    if leg.on in (None, "none", "withhold") and leg.began is None:
        leg.began = day
        if leg.area_at_start is None and area != 0:
            leg.area_at_start = area
    leg.on, leg.since = tier, day


def _event(leg: LegNow, note: Note) -> None:
    if note.event["limb"] is not None:
        _take_test(leg, {**note.person, **note.event["answers"]}, note.on)
    if note.kind == "compression_removed":
        leg.on, leg.since, leg.waits_since = "withhold", None, None
    elif note.kind == "compression_applied":
        tier = note.event["tier"]
        if leg.began is None:
            leg.began = note.on
            if leg.area_at_start is None and leg.area != 0:
                leg.area_at_start = leg.area
        if leg.on != tier or leg.waits_since is not None:
            leg.since = note.on
        leg.on, leg.waits_since = tier, None


def _take_test(leg: LegNow, said: Mapping[str, Any], day: date) -> None:
    """A test of the leg with any number is kept, by the day on which it was made."""
    given = {name: said[name] for name in TEST if name in said}
    numbers = (*ANKLES, "reported_abpi")
    if any(given.get(name, "not_done") != "not_done" for name in numbers) or given.get(
        "ankle_not_compressible"
    ) in (True, "yes"):
        made = given.get("arterial_test_on", "not_done")
        leg.tests.append((day if made == "not_done" else date.fromisoformat(made), given))


def is_result(test: Mapping[str, Any]) -> bool:
    """Whether a test came to an arterial result: a ratio, or that the artery cannot be compressed. A ratio
    needs both ankle and both arm pressures answered, and a number of each sort."""
    if test.get("abpi_availability") == "reported":
        return bool(test.get("reported_abpi", "not_done") != "not_done")
    if test.get("abpi_availability") != "measured" or "ankle_not_compressible" not in test:
        return False
    if test["ankle_not_compressible"] in (True, "yes"):
        return True
    return all(
        all(name in test for name in sort) and any(test[name] != "not_done" for name in sort)
        for sort in (ANKLES, ARMS)
    )


def _day(text: Any) -> date | None:
    return None if text in (None, "not_done") else date.fromisoformat(text)


# The due list.


@dataclass(frozen=True, slots=True)
class PlainDue:
    """An open episode: its review, since when it is stuck and its assessment overdue, and what is shown."""

    reference: str
    review: date
    stuck: date | None
    unassessed: date | None
    tier: str
    disposition: str
    calendar: str

    @property
    def since(self) -> date:
        """The first day on which it needs somebody."""
        return min(day for day in (self.review, self.stuck, self.unassessed) if day is not None)

    def statuses(self, today: date) -> set[str]:
        """Why it is on the list."""
        held = {
            "overdue": self.review < today,
            "due": self.review == today,
            "stuck_on_starter_tier": self.stuck is not None and self.stuck <= today,
            "assessment_overdue": self.unassessed is not None and self.unassessed <= today,
        }
        return {name for name, so in held.items() if so}


def open_episodes(episodes: Mapping[str, Sequence[Note]]) -> list[PlainDue]:
    """Every open episode, in the order of the due list: the most urgent last decision, then since when."""
    found = []
    for reference, notes in episodes.items():
        now = read_episode(notes)
        if now is None or now.ended is not None:
            continue
        legs = list(now.legs.values())
        urgent = min((leg.disposition for leg in legs), key=URGENT.index)
        tiers = [leg.on or "none" for leg in legs]
        highest = max(tiers, key=lambda tier: max(ORDER.index(tier), 1))
        found.append(
            PlainDue(
                reference,
                min(leg.due for leg in legs if leg.due),
                min((day for leg in legs if (day := _stuck(leg))), default=None),
                min((day for leg in legs if (day := _unassessed(leg))), default=None),
                highest,
                urgent,
                now.calendar,
            )
        )
    return sorted(found, key=lambda one: (URGENT.index(one.disposition), one.since, one.reference))


def _stuck(leg: LegNow) -> date | None:
    days = (leg.seen_last + timedelta(days=count) for count in range(LOOKED_AHEAD))
    return next((day for day in days if _is_stuck(leg, day)), None)


def _is_stuck(leg: LegNow, day: date) -> bool:
    """Support for a second time, or two weeks at mild without improvement."""
    if len(leg.supports) > 1:
        return True
    known = leg.waits_since is None or day <= leg.waits_since
    if leg.on != "mild" or not known or leg.since is None:
        return False
    fortnight = timedelta(days=14)
    if day - max(leg.since, leg.better or leg.since) >= fortnight:
        return True
    return day - leg.since >= fortnight and (reduction := _reduction(leg)) is not None and reduction < 25


def _reduction(leg: LegNow) -> Fraction | None:
    numbers = [_number(one) for one in (leg.area_at_start, leg.area)]
    if leg.began is None or numbers[0] is None or numbers[1] is None:
        return None
    return 100 * (numbers[0] - numbers[1]) / numbers[0]


def _number(value: Any) -> Fraction | None:
    return None if value is None or isinstance(value, str) else Fraction(value)


def _unassessed(leg: LegNow) -> date | None:
    if leg.test is not None and is_result(leg.test):
        return None
    return leg.seen_first + timedelta(days=15)


# The picture of a caseload.


class PlainLeg:
    """A leg with its episode's end, for counting."""

    def __init__(self, leg: LegNow, ended: tuple[date, str] | None) -> None:
        self.leg = leg
        self.ended = ended
        self._worn: list[tuple[date, str]] = _settled(leg.worn)
        self._areas: list[tuple[date, Fraction]] = _settled(leg.areas)

    def worn(self, day: date) -> str:
        """What was on at the end of a day."""
        found = UNKNOWN
        for on, tier in self._worn:
            if on <= day:
                found = tier
        return found

    def area(self, day: date) -> Fraction | None:
        """The area by the end of a day."""
        if self.ended is not None and self.ended[1] == "healed" and self.ended[0] <= day:
            return Fraction(0)
        return next((area for on, area in reversed(self._areas) if on <= day), None)

    def open(self, day: date) -> bool:
        """Whether it is seen already, and its episode not at an end, by the end of a day."""
        return self.leg.seen_first <= day and (self.ended is None or day < self.ended[0])

    def came_to(self, tier: str) -> date | None:
        """The first day at whose end a tier or a higher one was on."""
        days = {on for on, _ in self._worn}
        high = [
            day
            for day in sorted(days)
            if self.worn(day) in ORDER and ORDER.index(self.worn(day)) >= ORDER.index(tier)
        ]
        return high[0] if high else None


def _settled(entries: Sequence[tuple[date, Any]]) -> list[tuple[date, Any]]:
    """What was told of an earlier day after a later one was known counts from the later one."""
    found: list[tuple[date, Any]] = []
    for day, value in entries:
        found.append((max(day, found[-1][0]) if found else day, value))
    return found


def plain_picture(
    episodes: Mapping[str, Sequence[Note]],
    as_of: date,
    first: date | None = None,
    before: date | None = None,
) -> dict[str, Any]:
    """The counts by name; values that lie between whole numbers are exact."""
    legs = []
    for notes in episodes.values():
        now = read_episode([note for note in notes if note.on <= as_of])
        for leg in now.legs.values() if now else ():
            seen = leg.seen_first
            if seen <= as_of and (first is None or seen >= first) and (before is None or seen < before):
                legs.append(PlainLeg(leg, now.ended if now else None))
    picture: dict[str, Any] = {"legs": len(legs), "open_legs": sum(one.open(as_of) for one in legs)}
    picture["weeks"] = _weeks(legs, as_of)
    for tier in ("support", "mild", "moderate", "strong"):
        _reached(picture, legs, tier, as_of)
    _assessed(picture, legs, as_of)
    for days in (14, 28):
        _starters(picture, legs, days, as_of)
    for week in range(13):
        _areas(picture, legs, week, as_of)
    return picture


def _weeks(legs: Sequence[PlainLeg], as_of: date) -> dict[date, dict[str, int]]:
    weeks: dict[date, dict[str, int]] = {}
    day = min((one.leg.seen_first for one in legs), default=as_of + timedelta(days=1))
    while day <= as_of:
        if day.isoweekday() == 7:
            on = [one.worn(day) for one in legs if one.open(day)]
            weeks[day] = {tier: on.count(tier) for tier in (*ORDER, UNKNOWN)}
        day += timedelta(days=1)
    return weeks


def _watched(one: PlainLeg, since: date, days: int, as_of: date) -> bool:
    day = since + timedelta(days=days)
    return day <= as_of and one.open(day)


def _reached(picture: dict[str, Any], legs: Sequence[PlainLeg], tier: str, as_of: date) -> None:
    took = []
    for one in legs:
        day = one.came_to(tier)
        took.append(None if day is None or day > as_of else (day - one.leg.seen_first).days)
    picture[f"days to {tier}"] = quartiles([days for days in took if days is not None])
    for limit in (7, 14, 28, 84):
        long_ago = [one.leg.seen_first + timedelta(days=limit) <= as_of for one in legs]
        came = [old and days is not None and days <= limit for old, days in zip(long_ago, took, strict=True)]
        followed = [_watched(one, one.leg.seen_first, limit, as_of) for one in legs]
        picture[f"{tier} by day {limit}"] = (
            sum(came),
            sum(in_time or seen for in_time, seen in zip(came, followed, strict=True)),
        )


def _assessed(picture: dict[str, Any], legs: Sequence[PlainLeg], as_of: date) -> None:
    done = of = 0
    for one in legs:
        limit = one.leg.seen_first + timedelta(days=14)
        if limit > as_of:
            continue
        in_time = any(day <= limit for day in one.leg.results)
        done += in_time
        of += in_time or one.open(limit)
    picture["assessed"] = (done, of)


def _starters(picture: dict[str, Any], legs: Sequence[PlainLeg], days: int, as_of: date) -> None:
    then = [
        one.worn(one.leg.began + timedelta(days=days))
        for one in legs
        if one.leg.began is not None
        and one.leg.began >= one.leg.seen_first
        and one.worn(one.leg.began) in STARTER
        and _watched(one, one.leg.began, days, as_of)
    ]
    still, unknown = sum(tier in STARTER for tier in then), then.count(UNKNOWN)
    picture[f"starter after {days}"] = (still, unknown, len(then))


def _areas(picture: dict[str, Any], legs: Sequence[PlainLeg], week: int, as_of: date) -> None:
    gone = []
    for one in legs:
        start = _number(one.leg.area_at_start)
        if one.leg.began is None or not start:
            continue
        day = one.leg.began + timedelta(weeks=week)
        healed = one.ended is not None and one.ended[1] == "healed" and one.ended[0] <= day
        area = one.area(day)
        if day <= as_of and (one.open(day) or healed) and area is not None:
            gone.append(100 * (start - area) / start)
    picture[f"area gone by week {week}"] = quartiles(gone)


def quartiles(
    values: Sequence[Fraction | int],
) -> tuple[int, Fraction | None, Fraction | None, Fraction | None]:
    """How many, lower quartile, median, upper quartile, exact; `statistics` has the same definition."""
    exact = [Fraction(value) for value in values]
    if not exact:
        return 0, None, None, None
    if len(exact) == 1:
        return 1, exact[0], exact[0], exact[0]
    lower, middle, upper = statistics.quantiles(exact, n=4, method="inclusive")
    return len(exact), lower, middle, upper
