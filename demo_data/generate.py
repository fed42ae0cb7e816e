"""Writes `assessments.jsonl`: 200 invented contacts of an invented community nursing service.

Nobody in it is real, and no number in it was observed: the shares in `caseload.py` are made up, to look
like a caseload and to reach every kind of answer. The same file comes out every time. From the top folder:

    python -m demo_data.generate
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path

from demo_data.caseload import (
    DANGERS,
    FOLLOWING,
    GAPS,
    KINDS,
    NO_SWELLING,
    NO_WOUND,
    SOME_SWELLING,
    TESTED,
    TIERS_ON,
    Answers,
    Kind,
)
from demo_data.draws import Chance
from demo_data.invent import Visit, invent_leg, invent_person

FILE = Path(__file__).with_name("assessments.jsonl")
START = 20260105
FIRST_DAY, LAST_DAY = date(2026, 1, 5), date(2026, 10, 30)
# The first and the last whole day of summer time in the United Kingdom.
SUMMER_TIME = (date(2026, 3, 29), date(2026, 10, 24))
CALENDARS = {"england": 58, "scotland": 18, "wales": 14, "northern_ireland": 10}
TEAMS = {"england": "kestrel", "scotland": "dunlin", "wales": "curlew", "northern_ireland": "wren"}
INCOMPLETE = 0.35
BOTH_LEGS = 0.5


def invent_contact(chance: Chance, kind: Kind, danger: tuple[Answers, Answers] | None) -> Answers:
    """One contact as the API receives it, its episode still without a reference."""
    moment, day = _moment(chance)
    calendar = chance.by(CALENDARS)
    settled = kind.tier in TIERS_ON
    person = invent_person(chance, settled)
    arm = chance.whole(112, 168)
    visit = Visit(
        day=day,
        days_in_episode=chance.whole(*kind.days_in_episode),
        arms=(arm, arm - chance.whole(0, 12 if chance.yes(0.8) else 22)),
        stiff_arteries_likely=person["diabetes"] or person["chronic_kidney_disease"],
        walks=person["mobility"] in ("walks", "walks_with_aid"),
        settled=settled,
    )
    side, other = ("left", "right") if chance.yes(0.5) else ("right", "left")
    limbs = {side: invent_leg(chance, kind, visit)}
    if chance.yes(BOTH_LEGS):
        oedema = NO_SWELLING if kind.oedema == NO_SWELLING else SOME_SWELLING
        found = limbs[side]["abpi_availability"]
        milder = kind._replace(
            wounds=NO_WOUND,
            oedema=oedema,
            leaking=kind.leaking / 3,
            tests=TESTED if found == "measured" else {found: 1},
        )
        limbs[other] = invent_leg(chance, milder, visit)
    if any(leg["abpi_availability"] == "measured" for leg in limbs.values()):
        left, right = visit.arms if chance.yes(0.5) else reversed(visit.arms)
        person["arm_pressure_left_mmhg"] = left
        person["arm_pressure_right_mmhg"] = "not_done" if chance.yes(0.05) else right
    if danger is not None:
        person |= danger[0]
        limbs[side] |= danger[1]
        if person["heart_failure_status"] != "stable":
            person.pop("nyha_class", None)
    if chance.yes(INCOMPLETE):
        forget(chance, [person, *limbs.values()])
    limbs = {name: limbs[name] for name in ("left", "right") if name in limbs}
    return {
        "assessed_at": moment,
        "calendar": calendar,
        "episode": "",
        "person": person,
        "limbs": limbs,
    }


def _moment(chance: Chance) -> tuple[str, date]:
    """When a nurse calls: by day, and at weekends only where it cannot wait."""
    day = FIRST_DAY + timedelta(days=chance.whole(0, (LAST_DAY - FIRST_DAY).days))
    if day.weekday() >= 5 and chance.yes(0.7):
        day -= timedelta(days=2)
    offset = "+01:00" if SUMMER_TIME[0] <= day <= SUMMER_TIME[1] else "+00:00"
    return f"{day}T{chance.whole(8, 16):02}:{chance.whole(0, 11) * 5:02}:00{offset}", day


def assessments() -> list[Answers]:
    """Every contact, in the order of its moment."""
    chance = Chance(START)
    dangers = iter(DANGERS)
    contacts = [
        invent_contact(chance, kind, next(dangers) if kind.danger else None)
        for kind in KINDS.values()
        for _ in range(kind.contacts)
    ]
    contacts.sort(key=lambda contact: str(contact["assessed_at"]))
    for number, contact in enumerate(contacts, start=1):
        contact["episode"] = f"ep-{TEAMS[contact['calendar']]}-{number:04}"
    return contacts


def as_lines(contacts: Sequence[Answers]) -> bytes:
    """One JSON object a line."""
    return "".join(json.dumps(contact) + "\n" for contact in contacts).encode()


def _leave_out(answers: Answers, names: Sequence[str]) -> None:
    for name in names:
        answers.pop(name, None)
        _leave_out(answers, FOLLOWING.get(name, "").split())


def forget(chance: Chance, groups: Sequence[Answers]) -> None:
    """Leave questions unanswered: a part or two of the visit, or some single questions here and there."""
    if chance.yes(0.6):
        for _ in range(chance.whole(1, 2)):
            gap = chance.one_of(GAPS)
            for answers in groups:
                _leave_out(answers, gap.split())
        return
    for _ in range(chance.whole(1, 5)):
        answers = chance.one_of(groups)
        _leave_out(answers, [chance.one_of(list(answers))])


if __name__ == "__main__":
    FILE.write_bytes(as_lines(assessments()))
    sys.stdout.write(f"{FILE.name} written\n")
