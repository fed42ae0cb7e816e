"""A year of an invented caseload: contacts and events of many episodes, decided by the service itself.

Nobody in it exists. The course of each leg is drawn at random, so that legs heal, stay at a starter tier for
want of the arterial test, step up, or stop; reviews are missed, things arrive late, twice or wrong, and some
contacts lie at midnight. The same seed gives the same year.
"""

from __future__ import annotations

import asyncio
import heapq
import itertools
import json
import random
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.log import Log
from limbtier.domain.caller import Caller
from limbtier.foundation.errors import InvalidAssessment
from limbtier.foundation.settings import CHECKOUT
from limbtier.store.due_list import DueTable
from limbtier.store.entries import EntryStore
from limbtier.store.episodes import EpisodeTable
from limbtier.store.opening import open_database
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.episodes import Episodes
from limbtier.use_cases.follow_up import FollowUps
from limbtier.use_cases.keep_event import EventKeeper
from limbtier.use_cases.make_decision import DecisionMaker
from limbtier.use_cases.ready_pathway import ready_attention, ready_watch
from limbtier.use_cases.ready_rules import ready_rules

ORGANISATION: Final = "quillerbeck"
OTHER_ORGANISATION: Final = "tarnmoor"
LONDON: Final = ZoneInfo("Europe/London")
BEGIN: Final = datetime(2027, 9, 1, tzinfo=UTC)
DAYS: Final = 366
TURNS: Final = (date(2027, 10, 31), date(2028, 3, 26), date(2028, 2, 29), date(2027, 12, 31))
"""Days on which clocks change, a leap day, and the last day of a year: more happens around them."""
PLACES: Final = ("england", "england", "wales", "scotland")
KEPT_OF_PERSON: Final = ("diabetes", "mobility", "can_report_problems", "can_manage_garments")
KEPT_OF_LEG: Final = ("sensation", "claudication", "known_arterial_disease", "ankle_movement")
HISTORY: Final = ("first_contact_on", "current_tier", "start_girth_series_cm")
ASKED_OF_A_WOUND: Final = (
    "wound_site",
    "rapidly_worsening_wound",
    "wound_weeks",
    "wound_length_cm",
    "wound_width_cm",
    "exudate",
)
_FIRST_CONTACT: Final = CHECKOUT / "demo_data" / "first_contact.json"
_HEALING_A_WEEK: Final = {"strong": 0.22, "moderate": 0.15, "mild": 0.05, "support": 0.0}

Action = Callable[[], object]


class Moving:
    """A clock that is set."""

    def __init__(self) -> None:
        self.now = BEGIN

    def __call__(self) -> datetime:
        return self.now


class Service:
    """What decides and keeps, as the application puts it together, with a clock that is set."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.clock = Moving()
        chance = random.Random(seed)
        decider = Decider(
            ready_rules(CHECKOUT / "rules"),
            self.clock,
            lambda: str(uuid.UUID(int=chance.getrandbits(128), version=4)),
        )
        watch = ready_watch(CHECKOUT / "rules", [one.edition for one in decider.rules.editions.values()])
        attention, self.terms = ready_attention(CHECKOUT / "rules", watch)
        database = open_database(folder / "year.sqlite3")
        self.log = Log(EntryStore(database), KeyFolder(folder / "keys"), "log.invalid/simulated-year")
        self.episodes = Episodes(EpisodeTable(database), watch, attention, self.clock)
        self.maker = DecisionMaker(decider, self.log, FollowUps(decider, self.episodes))
        self.keeper = EventKeeper(decider, self.log, self.episodes, self.maker.turns)
        self.due = DueTable(database)
        self.keeping = watch.pathway.kept
        self._loop = asyncio.new_event_loop()

    def decide(self, request: dict[str, Any], caller: Caller, key: str) -> dict[str, Any]:
        """The record of a decision. Raises InvalidAssessment."""
        body = json.dumps(request).encode()
        return _record(self._loop.run_until_complete(self.maker.make(body, caller, key)))

    def keep(self, reference: str, event: dict[str, Any], caller: Caller, key: str) -> dict[str, Any]:
        """The record of an event. Raises InvalidAssessment."""
        body = json.dumps(event).encode()
        return _record(self._loop.run_until_complete(self.keeper.keep(reference, body, caller, key)))

    def entries(self, size: int | None = None) -> Iterator[dict[str, Any]]:
        """What the log holds, as JSON alone, in the order in which it came; the first `size` entries."""
        stop = self.log.store.head().size if size is None else size
        for entry in self.log.store.entries_from(0, stop):
            if entry.kind in ("decision", "episode_event"):
                yield json.loads(entry.data)

    def close(self) -> None:
        """Close the log and its database."""
        self._loop.close()
        self.log.close()


@contextmanager
def service_in(folder: Path, seed: int = 1) -> Iterator[Service]:
    """A service on a new database."""
    service = Service(folder, seed)
    try:
        yield service
    finally:
        service.close()


def _record(answer: tuple[str, bytes]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(answer[1])
    return found


@dataclass(slots=True)
class Leg:
    """One leg as it truly is; `area` is the wound's in cm2, None where there is none."""

    area: float | None
    tier: str = "none"
    seen: bool = False


@dataclass(slots=True)
class Patient:
    """Somebody invented: what decides how the episode goes."""

    reference: str
    caller: Caller
    calendar: str
    chance: random.Random
    person: dict[str, Any]
    background: dict[str, Any]
    legs: dict[str, Leg]
    ratio: float
    heals: float
    contact_at: datetime
    contacts: int = 0
    tested: bool = False
    closed: bool = False
    decisions: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    events: list[str] = field(default_factory=list)


class SimulatedYear:
    """Runs the year. `counts` says what happened in it."""

    def __init__(self, service: Service, episodes: int, seed: int = 1) -> None:
        self.counts: Counter[str] = Counter()
        self._service = service
        self._chance = random.Random(seed)
        self._keys = itertools.count(1)
        self._order = itertools.count()
        self._waiting: list[tuple[datetime, int, Action]] = []
        for number in range(episodes):
            patient = self._patient(number)
            self._at(patient.contact_at, lambda one=patient: self._contact(one))  # type: ignore[misc]

    def run(self, until: date) -> None:
        """Let happen what happens before the end of a day, by the clocks of the United Kingdom."""
        end = datetime.combine(until + timedelta(days=1), time(), LONDON).astimezone(UTC)
        while self._waiting and self._waiting[0][0] < end:
            moment, _, action = heapq.heappop(self._waiting)
            self._service.clock.now = moment
            action()
        self._service.clock.now = end - timedelta(seconds=1)

    def _at(self, moment: datetime, action: Action) -> None:
        heapq.heappush(self._waiting, (moment, next(self._order), action))

    # Who is in the caseload.

    def _patient(self, number: int) -> Patient:
        chance = random.Random(self._chance.getrandbits(64))
        request = json.loads(_FIRST_CONTACT.read_text(encoding="utf-8"))
        person, answers = request["person"], request["limbs"]["left"]
        person |= {
            "age_years": chance.randint(45, 92),
            "heart_failure_status": "none",
            "diabetes": chance.random() < 0.2,
            "can_report_problems": chance.choice(("yes", "yes", "yes", "no")),
        }
        for name in ("weight_gain_kg_over_2_days", "heart_failure_team_advice", "nyha_class"):
            del person[name]
        if chance.random() < 0.15:
            person |= {
                "heart_failure_status": "stable",
                "weight_gain_kg_over_2_days": 0.2,
                "heart_failure_team_advice": "not_sought",
                "nyha_class": chance.choice(("1", "2", "3")),
            }
        elif chance.random() < 0.05:
            person |= {
                "heart_failure_status": "suspected",
                "weight_gain_kg_over_2_days": "not_done",
                "heart_failure_team_advice": "not_sought",
            }
        answers |= {
            "sensation": chance.choice(("intact", "intact", "intact", "reduced")),
            "claudication": chance.random() < 0.1,
            "foot_pulses": chance.choice(("present", "not_felt_through_oedema", "not_checked")),
            "long_term_compression": chance.random() < 0.2,
            "doppler_sounds": chance.choice(("multiphasic", "not_done")),
        }
        sides = chance.choice((("left",), ("right",), ("left", "right"), ("left", "right")))
        legs = {
            side: Leg(round(chance.uniform(1, 30), 1) if chance.random() < 0.75 else None) for side in sides
        }
        caller = Caller("client:integrator", ORGANISATION, frozenset({"decide"}))
        if chance.random() < 0.04:
            caller = Caller("client:neighbour", OTHER_ORGANISATION, frozenset({"decide"}))
        return Patient(
            f"ep-{number:05}",
            caller,
            chance.choice(PLACES),
            chance,
            person,
            answers,
            legs,
            chance.choice((0.45, 0.7, 0.85, 1.0, 1.0, 1.1, 1.1, 1.4)),
            chance.choice((0.2, 0.6, 1.0, 1.6)),
            self._first_moment(chance),
        )

    def _first_moment(self, chance: random.Random) -> datetime:
        if chance.random() < 0.2:
            day = chance.choice(TURNS) + timedelta(days=chance.randint(-20, 1))
        else:
            day = BEGIN.date() + timedelta(days=chance.randrange(DAYS - 30))
        return self._moment(chance, day)

    @staticmethod
    def _moment(chance: random.Random, day: date) -> datetime:
        """A time of a day: mostly at work, now and then at midnight and where clocks change."""
        if chance.random() < 0.15:
            hour, minute = chance.choice(((23, 30), (0, 30), (0, 59), (1, 0), (23, 0)))
        else:
            hour, minute = chance.randint(8, 17), chance.choice((0, 15, 30, 45))
        return datetime(day.year, day.month, day.day, hour, minute, chance.randrange(60), tzinfo=UTC)

    # Contacts.

    def _contact(self, patient: Patient) -> None:
        if patient.closed:
            return
        chance, now = patient.chance, self._service.clock.now
        request = self._request(patient, now)
        if patient.contacts and chance.random() < 0.06:  # written on paper, and sent days later
            self.counts["late"] += 1
            later = now + timedelta(days=chance.randint(1, 12), minutes=chance.randint(1, 600))
            self._at(later, lambda: self._send(patient, request, None))
            self._next(patient, now + timedelta(days=chance.randint(1, 7)))
            return
        record = self._send(patient, request, None)
        if record is None:
            if patient.contacts == 0 and chance.random() < 0.3:
                return
            self._next(patient, now + timedelta(days=chance.randint(1, 4)))
            return
        if chance.random() < 0.05:
            wrong = self._corrected(request, chance)
            self._at(
                now + timedelta(hours=chance.randint(1, 90)),
                lambda: self._send(patient, wrong, record["id"]),
            )
        self._after(patient, record, now)

    def _request(self, patient: Patient, now: datetime) -> dict[str, Any]:
        chance, first = patient.chance, patient.contacts == 0
        local = now.astimezone(LONDON) if chance.random() < 0.5 else now
        person = {
            name: value for name, value in patient.person.items() if first or name not in KEPT_OF_PERSON
        }
        if chance.random() < 0.02:
            person["breathless_at_rest_or_lying_flat"] = True
        if chance.random() < 0.03:
            del person["signs_of_sepsis"]
        sides = [side for side in patient.legs if first or chance.random() < 0.93] or list(patient.legs)
        if first and len(sides) == 2 and chance.random() < 0.2:  # the other leg is first seen later
            sides = sides[:1]
        return {
            "assessed_at": local.isoformat(),
            "calendar": patient.calendar,
            "episode": patient.reference,
            "person": person,
            "limbs": {side: self._answers(patient, side, now, person) for side in sides},
            "confirmed": [f"{side}/area-out-of-step" for side in sides],
        }

    def _answers(self, patient: Patient, side: str, now: datetime, person: dict[str, Any]) -> dict[str, Any]:
        chance, leg = patient.chance, patient.legs[side]
        dropped = (*KEPT_OF_LEG, *HISTORY) if leg.seen else ()
        answers = {name: value for name, value in patient.background.items() if name not in dropped}
        today = now.astimezone(LONDON).date()
        answers |= {
            "leaking": chance.random() < 0.3,
            "exudate": chance.choice(("low", "moderate", "high")),
            "oedema": chance.choice(("none", "below_knee", "to_knee")),
            "pain_score": chance.choice((0, 2, 4, 4, 8)),
        }
        if answers["oedema"] == "none":
            del answers["oedema_settles_on_elevation"], answers["oedema_months"]
        if leg.area is None or leg.area < 0.2:
            answers["wound"] = "none"
            for name in ASKED_OF_A_WOUND:
                del answers[name]
        else:
            length = round(leg.area**0.5, 1)
            answers |= {"wound": "leg_ulcer", "wound_length_cm": length, "wound_width_cm": length}
            if chance.random() < 0.1:
                answers |= {"wound_length_cm": "not_done", "wound_width_cm": "not_done"}
        if not leg.seen:
            answers["first_contact_on"] = (
                today - timedelta(days=chance.choice((0, 0, 0, 0, 3, 20)))
            ).isoformat()
            if chance.random() < 0.08:
                since = today - timedelta(days=chance.randint(0, 40))
                answers |= {
                    "current_tier": chance.choice(("support", "mild", "strong")),
                    "compression_started_on": (since - timedelta(days=chance.randint(0, 9))).isoformat(),
                    "current_tier_since": since.isoformat(),
                    "tolerance": "good",
                    "progress": "no_change",
                }
        else:
            self._on_arrival(chance, leg, answers)
        if chance.random() < 0.12:
            self._tested(patient, answers, person, today)
        elif leg.seen and chance.random() < 0.6:
            del answers["abpi_availability"]
        if chance.random() < 0.07:
            del answers[chance.choice(("suspected_dvt", "acute_infection", "pain_type", "wound"))]
            if "pain_type" not in answers and chance.random() < 0.5:
                answers.pop("pain_score", None)
        if chance.random() < 0.015:
            answers["suspected_dvt"] = True
        return answers

    def _on_arrival(self, chance: random.Random, leg: Leg, answers: dict[str, Any]) -> None:
        found = leg.tier
        if chance.random() < 0.1:
            answers["current_tier"] = found = chance.choice((leg.tier, "none", "withhold", "support", "mild"))
        if found not in ("none", "withhold"):
            answers["tolerance"] = chance.choice(
                ("good", "good", "good", "good", "with_difficulty", "not_tolerated")
            )
            answers["progress"] = chance.choice(("better", "no_change", "no_change", "worse"))
            if chance.random() < 0.05:
                del answers["progress"]

    def _tested(self, patient: Patient, answers: dict[str, Any], person: dict[str, Any], today: date) -> None:
        """An ankle-brachial test: mostly whole, now and then with gaps, so that there is no result."""
        chance = patient.chance
        day = (today - timedelta(days=chance.choice((0, 0, 1, 5, 30)))).isoformat()
        if chance.random() < 0.2:
            answers |= {
                "abpi_availability": "reported",
                "reported_abpi": round(patient.ratio, 2),
                "arterial_test_on": day,
            }
            return
        ankle = round(140 * patient.ratio)
        answers |= {
            "abpi_availability": "measured",
            "dorsalis_pedis_mmhg": ankle,
            "posterior_tibial_mmhg": chance.choice((ankle - 4, "not_done")),
            "ankle_not_compressible": patient.ratio > 1.3,
            "arterial_test_on": day,
        }
        person |= {"arm_pressure_left_mmhg": 140, "arm_pressure_right_mmhg": chance.choice((136, "not_done"))}
        gap = chance.random()
        if gap < 0.08:
            person |= {"arm_pressure_left_mmhg": "not_done", "arm_pressure_right_mmhg": "not_done"}
        elif gap < 0.14:
            del answers["abpi_availability"]
        elif gap < 0.2:
            del person["arm_pressure_right_mmhg"]
        elif gap < 0.25:
            answers |= {"dorsalis_pedis_mmhg": "not_done", "posterior_tibial_mmhg": "not_done"}

    @staticmethod
    def _corrected(request: dict[str, Any], chance: random.Random) -> dict[str, Any]:
        wrong = json.loads(json.dumps(request))
        for answers in wrong["limbs"].values():
            if isinstance(answers.get("wound_length_cm"), float):
                answers["wound_length_cm"] = round(answers["wound_length_cm"] * chance.uniform(0.6, 1.5), 1)
            answers["pain_score"] = chance.choice((1, 8))
        if chance.random() < 0.3:
            moment = datetime.fromisoformat(wrong["assessed_at"]) - timedelta(hours=chance.randint(1, 30))
            wrong["assessed_at"] = moment.isoformat()
        found: dict[str, Any] = wrong
        return found

    def _send(self, patient: Patient, request: dict[str, Any], corrects: str | None) -> dict[str, Any] | None:
        if corrects is not None:
            request = {**request, "corrects": corrects}
        key = f"key-{next(self._keys)}"
        try:
            record = self._service.decide(request, patient.caller, key)
        except InvalidAssessment as error:
            self.counts["refused"] += 1
            for one in error.diagnostics:
                self.counts[f"refused: {one.code}"] += 1
            if any(one.code == "contradicting-answer" for one in error.diagnostics):
                for side in request["limbs"]:  # looked at again: nothing is on
                    patient.legs[side].tier = "none"
            return None
        if patient.chance.random() < 0.05:
            again = self._service.decide(request, patient.caller, key)
            self.counts["sent again"] += 1
            if again != record:
                raise AssertionError("a request that is sent again has the answer of the first")
        self.counts["contact" if corrects is None else "correction"] += 1
        patient.contacts += 1
        patient.decisions.append((record["id"], request))
        for side, limb in record["limbs"].items():
            leg = patient.legs[side]
            leg.seen = True
            if limb["disposition"] != "cannot_decide_yet":
                leg.tier = limb["tier"] if limb["tier"] != "withhold" else "none"
        return record

    # What comes after a contact.

    def _after(self, patient: Patient, record: dict[str, Any], now: datetime) -> None:
        chance = patient.chance
        due = min(date.fromisoformat(limb["review"]["due_on"]) for limb in record["limbs"].values())
        day = max(due, now.date()) + timedelta(days=chance.choice((0, 0, 0, 0, 0, 0, 1, 3, 9, -1)))
        following = max(self._moment(chance, day), now + timedelta(hours=chance.randint(2, 20)))
        for leg in patient.legs.values():
            if leg.area is not None:
                weeks = (following - now) / timedelta(weeks=1)
                slower = _HEALING_A_WEEK.get(leg.tier, -0.05) * patient.heals * weeks
                leg.area = max(0.0, leg.area * (1 - slower) * chance.uniform(0.97, 1.03))
        between = (following - now) * chance.random()
        self._at(now + between, lambda: self._something(patient))
        self._next(patient, following)

    def _next(self, patient: Patient, moment: datetime) -> None:
        if patient.chance.random() < 0.012:
            self.counts["lost to follow-up"] += 1
            return
        self._at(moment, lambda: self._contact(patient))

    def _something(self, patient: Patient) -> None:
        """What happens between two contacts, if anything."""
        chance, day = patient.chance, self._service.clock.now.astimezone(LONDON).date()
        side = chance.choice(list(patient.legs))
        happened = (day - timedelta(days=chance.choice((0, 0, 0, 0, 1, 3)))).isoformat()
        event: dict[str, Any] = {"happened_on": happened}
        if chance.random() < 0.3:
            event["time"] = chance.choice(("00:00", "00:59", "01:30", "23:59", "12:00"))
        draw = chance.random()
        if draw < 0.08 and chance.random() < 0.6 + 0.4 * (not patient.tested):
            answers: dict[str, Any] = {}
            person: dict[str, Any] = {}
            self._tested(patient, answers, person, date.fromisoformat(happened))
            event |= {"kind": "arterial_result_received", "limb": side, "answers": answers}
            event |= {"person": person} if person else {}
            patient.tested = True
        elif draw < 0.11:
            advice = chance.choice(("mild", "moderate", "strong", "none"))
            event |= {"kind": "advice_given", "limb": side, "answers": {"vascular_advice": advice}}
        elif draw < 0.15:
            event |= {"kind": "review_missed", "reason": "not_at_home"}
        elif draw < 0.18:
            event |= {"kind": "compression_removed", "limb": side, "reason": "by_the_person"}
        elif draw < 0.2:
            event |= {"kind": "compression_applied", "limb": side, "tier": chance.choice(("support", "mild"))}
        elif draw < 0.21 and len(patient.decisions) > 1:
            event |= {"kind": "entered_in_error", "corrects": chance.choice(patient.decisions)[0]}
        elif draw < 0.225 and patient.events:
            event |= {"kind": "entered_in_error", "corrects": chance.choice(patient.events)}
        elif draw < 0.235:
            event |= {"kind": chance.choice(("died", "moved_away"))}
        elif all(leg.area is None or leg.area < 0.2 for leg in patient.legs.values()) and draw < 0.5:
            event |= {"kind": "healed"}
        else:
            return
        self._tell(patient, event)

    def _tell(self, patient: Patient, event: dict[str, Any]) -> None:
        key = f"key-{next(self._keys)}"
        try:
            record = self._service.keep(patient.reference, event, patient.caller, key)
        except InvalidAssessment as error:
            self.counts["event refused"] += 1
            for one in error.diagnostics:
                self.counts[f"event refused: {one.code}"] += 1
            return
        if patient.chance.random() < 0.05:
            self.counts["sent again"] += 1
            if self._service.keep(patient.reference, event, patient.caller, key) != record:
                raise AssertionError("an event that is sent again has the answer of the first")
        kind = event["kind"]
        self.counts[kind] += 1
        patient.events.append(record["id"])
        if kind in ("compression_removed", "compression_applied"):
            patient.legs[event["limb"]].tier = event.get("tier", "none")
        if kind in ("healed", "died", "moved_away"):
            patient.closed = patient.chance.random() < 0.9
            if not patient.closed:  # told of somebody else: taken back
                wrong = {"kind": "entered_in_error", "happened_on": event["happened_on"]}
                wrong["corrects"] = record["id"]
                self._tell(patient, wrong)
