"""Reads worked cases: answers, and what must come out."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from limbtier.domain.assessment import SIDES
from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.edition import WorkedCase
from limbtier.rulesets.findings import Findings, Place, Placed
from limbtier.rulesets.names import Names, distinct
from limbtier.rulesets.nodes import Node, shown
from limbtier.rulesets.read_answers import answers_schema, read_answers
from limbtier.rulesets.read_calendar import NATIONS
from limbtier.rulesets.read_lists import TIERS_IN_ORDER
from limbtier.rulesets.read_rules import EditionNames
from limbtier.rulesets.read_settings import REVIEW_SETTINGS
from limbtier.rulesets.records import AsWritten, Fields, Key, ListOf, MapOf, Record
from limbtier.rulesets.shapes import Day, Identifier, NameUsed, OneOf, Schema, Text, choose, scalar

MOMENT: Final = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}([+-][0-9]{2}:[0-9]{2}|Z)$"
TIER_ITSELF: Final = "tier"


@dataclass(frozen=True, slots=True)
class Moment:
    """A date and time with its offset; kept as text."""

    def read(self, node: Node, label: str, found: Findings) -> Placed[str] | None:
        """The text, once it is known to be a moment."""
        read = scalar(node, label, "a date and time such as 2026-01-31T09:30:00+00:00", found)
        if read is None:
            return None
        if re.match(MOMENT.removesuffix("$") + r"\Z", read.text):
            try:
                moment = datetime.fromisoformat(read.text)
            except ValueError:
                moment = None
            if moment is not None and 1900 <= moment.year < 2200:
                return Placed(read.text, read.place)
        advice = "Write date, time and offset, such as 2026-01-31T09:30:00+00:00."
        found.add("bad-time", read.place, f"{label} is `{shown(read.text)}`.", advice)
        return None

    def schema(self) -> Schema:
        """The pattern."""
        return {"type": "string", "pattern": MOMENT}


_TIER: Final = OneOf(TIERS_IN_ORDER)
_IDS: Final = ListOf(Identifier, least=0)
DISPOSITION: Final = Key("disposition", OneOf(DISPOSITIONS), "the disposition", required=True)
TIER: Final = Key("tier", _TIER, "the tier given", required=True)
TARGET: Final = Key("target_tier", _TIER, "the tier the leg is heading for")
HIGHEST: Final = Key("highest_possible_tier", _TIER, "the highest tier that the open questions leave")
REVIEW_DUE_ON: Final = Key("review_due_on", Day(), "the day of the review", required=True)
REVIEW_SET_BY: Final = Key("review_set_by", Text(), "a rule id, a review setting, or `tier`")
HELD_BY: Final = Key("held_by", _IDS, "exactly the limits at the tier given")
APPLIES: Final = Key("applies", _IDS, "rules that must be among those that apply")
UNDETERMINED: Final = Key("undetermined", _IDS, "rules that must be among the undetermined")
DOES_NOT_APPLY: Final = Key("does_not_apply", _IDS, "rules that must be among those that do not apply")
MATERIALS: Final = Key("materials", ListOf(NameUsed, least=0), "materials that must be among the chosen")
NOT_CHOSEN: Final = Key("not_chosen", ListOf(NameUsed), "materials that must not be among the chosen")
AVOIDED: Final = Key("avoided", ListOf(NameUsed), "materials that must be among the avoided")
CAUTIONED_BY: Final = Key("cautioned_by", ListOf(Identifier), "rules whose caution must be given")
NOT_CAUTIONED_BY: Final = Key("not_cautioned_by", ListOf(Identifier), "rules whose caution must not be given")
INSTRUCTED_BY: Final = Key("instructed_by", ListOf(Identifier), "rules whose instructions must be given")
NOT_INSTRUCTED_BY: Final = Key(
    "not_instructed_by", ListOf(Identifier), "rules whose instructions must not be given"
)
QUESTIONS: Final = Key("questions", ListOf(NameUsed, least=0), "inputs that must be among the questions")
ARRANGEMENTS: Final = Key(
    "arrangements", MapOf(NameUsed, Day()), "what must be among the arrangements, with its day"
)
PLAN: Final = Key(
    "plan", ListOf(ListOf(_TIER, least=2), least=0), "exactly the steps, each from one tier to another"
)
EXPECTED: Final = Record(
    "an expectation",
    (
        DISPOSITION,
        TIER,
        TARGET,
        HIGHEST,
        REVIEW_DUE_ON,
        REVIEW_SET_BY,
        HELD_BY,
        APPLIES,
        UNDETERMINED,
        DOES_NOT_APPLY,
        QUESTIONS,
        ARRANGEMENTS,
        MATERIALS,
        NOT_CHOSEN,
        AVOIDED,
        CAUTIONED_BY,
        NOT_CAUTIONED_BY,
        INSTRUCTED_BY,
        NOT_INSTRUCTED_BY,
        PLAN,
    ),
)
_RULES: Final = (
    HELD_BY,
    APPLIES,
    UNDETERMINED,
    DOES_NOT_APPLY,
    CAUTIONED_BY,
    NOT_CAUTIONED_BY,
    INSTRUCTED_BY,
    NOT_INSTRUCTED_BY,
)

ID: Final = Key("id", Identifier, "its id, in small letters, digits and -", required=True)
STORY: Final = Key("story", Text(), "one or two plain sentences", required=True)
ASSESSED_AT: Final = Key("assessed_at", Moment(), "date, time and offset", required=True)
CALENDAR: Final = Key("calendar", OneOf(NATIONS), "the nation whose bank holidays count", required=True)
STARTS_FROM: Final = Key("starts_from", NameUsed, "the name of a starting point under `answers`")
PERSON: Final[Key[Node]] = Key("person", AsWritten(answers_schema), "answers of the person")
LIMB: Final[Key[Node]] = Key("limb", AsWritten(answers_schema), "answers of one limb")
SIDE: Final = Key("side", OneOf(SIDES), "the limb it is, left if not given")
WITHDRAWN: Final = Key("withdrawn", ListOf(NameUsed), "answers of the starting point that were not recorded")
EXPECT: Final = Key("expect", EXPECTED, "what must come out", required=True)
CASE: Final = Record(
    "a case", (ID, STORY, ASSESSED_AT, CALENDAR, STARTS_FROM, PERSON, LIMB, SIDE, WITHDRAWN, EXPECT)
)
START: Final = Record("a starting point", (PERSON, LIMB))
ANSWERS: Final = Key("answers", MapOf(NameUsed, START), "named starting points")
CASES: Final = Key("cases", ListOf(CASE), "worked cases")
CASES_FILE: Final = Record("the file", (ANSWERS, CASES))

Answers = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Start:
    """A starting point; `whole` is False when a part of it was refused."""

    person: Answers
    limb: Answers
    whole: bool


@dataclass(slots=True)
class CasesRead:
    """Starting points and case ids of all files, and the cases read so far."""

    starts: Names[Start] = field(default_factory=lambda: Names("starting point"))
    ids: Names[bool] = field(default_factory=lambda: Names("case"))
    starts_file: str | None = None
    cases: list[WorkedCase] = field(default_factory=list)


def check_marked_invented(data: bytes, file: str, found: Findings) -> None:
    """The first line of a file of cases must say that the people in it are invented."""
    first = data.split(b"\n", 1)[0].lower()
    if not first.startswith(b"#") or b"invented" not in first:
        advice = "Begin the file with a line such as `# Invented people; no real assessment.`"
        found.add(
            "not-marked-invented",
            Place(file, 1, 1),
            "The file does not say that its cases are invented.",
            advice,
        )


def read_starts(
    root: Node | None,
    file: str,
    names: EditionNames,
    read: CasesRead,
    found: Findings,
    shape: Record = CASES_FILE,
) -> Fields | None:
    """Records the starting points of one file, before any case is read; returns its fields for that."""
    fields = shape.read(root, "The file", found) if root is not None else None
    if fields is None or (fields.wrote(ANSWERS) and fields.get(ANSWERS) is None):
        read.starts.complete = False
    starts = fields.get(ANSWERS) if fields else None
    if starts is not None:
        if read.starts_file is not None:
            message = f"Starting points stand here and in {read.starts_file}."
            found.add("answers-in-two-files", starts.place, message, "Keep them all in one file.")
        read.starts_file = read.starts_file or file
        read.starts.complete = read.starts.complete and not starts.lost
        for name, entry in starts.value:
            before = len(found)
            person, limb = answers_of(entry, names, found) if entry else ({}, {})
            whole = entry is not None and entry.whole and len(found) == before
            read.starts.give(name, Start(person, limb, whole), found)
    return fields


def answers_of(entry: Fields, names: EditionNames, found: Findings) -> tuple[Answers, Answers]:
    """The answers of the person and of the limb that an entry gives."""
    person, limb = entry.get(PERSON), entry.get(LIMB)
    return (
        read_answers(person, "person", names.testable, found) if person is not None else {},
        read_answers(limb, "limb", names.testable, found) if limb is not None else {},
    )


def read_cases(fields: Fields | None, names: EditionNames, read: CasesRead, found: Findings) -> None:
    """The cases of one file, once all starting points are known."""
    cases = fields.get(CASES) if fields else None
    for entry in cases.value if cases else ():
        _read_case(entry, names, read, found)


def _read_case(entry: Fields, names: EditionNames, read: CasesRead, found: Findings) -> None:
    case_id, story, moment = entry.get(ID), entry.get(STORY), entry.get(ASSESSED_AT)
    calendar, side, expect = entry.get(CALENDAR), entry.get(SIDE), entry.get(EXPECT)
    person, limb = answers_of(entry, names, found)
    starts_from = entry.get(STARTS_FROM)
    start = read.starts.find(starts_from, found) if starts_from else None
    person, limb = laid_over(entry, start, (person, limb), names, found)
    expected = expected_of(expect, names, found) if expect else {}
    if case_id is None:
        return
    read.ids.give(case_id, True, found, "duplicate-id")
    if story and moment and calendar:
        name = side.value if side else "left"
        assessment = {
            "assessed_at": moment.value,
            "calendar": calendar.value,
            "person": person,
            "limbs": {name: limb},
        }
        place = case_id.place
        read.cases.append(
            WorkedCase(case_id.value, story.value, assessment, name, expected, place.file, place.line)
        )


def laid_over(
    entry: Fields,
    start: Start | None,
    answered: tuple[Answers, Answers],
    names: EditionNames,
    found: Findings,
) -> tuple[Answers, Answers]:
    """The answers of a starting point without those that an entry withdraws, and with those that it gives."""
    withdrawn = _withdrawn(entry, start, answered, names, found)
    if start is None:
        return answered
    person, limb = answered
    return (
        {**{k: v for k, v in start.person.items() if k not in withdrawn}, **person},
        {**{k: v for k, v in start.limb.items() if k not in withdrawn}, **limb},
    )


def _withdrawn(
    entry: Fields,
    start: Start | None,
    answered: tuple[Answers, Answers],
    names: EditionNames,
    found: Findings,
) -> tuple[str, ...]:
    words = entry.get(WITHDRAWN)
    for word in words.value if words else ():
        known = names.testable.find(word, found)
        if known is None:
            continue
        in_start = start is not None and (word.value in start.person or word.value in start.limb)
        knows_start = not entry.wrote(STARTS_FROM) or (start is not None and start.whole)
        if word.value in answered[0] or word.value in answered[1]:
            message = f"`{word.value}` is withdrawn and answered in the same case."
            found.add("withdrawn-nothing", word.place, message, "Keep one of the two.")
        elif knows_start and not in_start and known.entry is not None:
            message = f"`{word.value}` is not answered in the starting point, so it cannot be withdrawn."
            found.add("withdrawn-nothing", word.place, message, "Take it out of the list.")
    return distinct(words.value, found) if words else ()


def expected_of(expect: Fields, names: EditionNames, found: Findings) -> Mapping[str, Any]:
    """The expectation as plain data; names are checked."""
    expected: dict[str, Any] = {}
    for key in (DISPOSITION, TIER, TARGET, HIGHEST):
        if word := expect.get(key):
            expected[key.name] = word.value
    if due := expect.get(REVIEW_DUE_ON):
        expected[REVIEW_DUE_ON.name] = due.value.isoformat()
    if set_by := expect.get(REVIEW_SET_BY):
        allowed = (*REVIEW_SETTINGS, TIER_ITSELF)
        if set_by.value not in allowed and set_by.value not in names.rules.known and names.rules.complete:
            message = f"There is no rule or review setting `{shown(set_by.value)}`."
            found.add(
                "unknown-name", set_by.place, message, choose(set_by.value, [*allowed, *names.rules.known])
            )
        expected[REVIEW_SET_BY.name] = set_by.value
    for ids_key in _RULES:
        if (ids := expect.get(ids_key)) is not None:
            expected[ids_key.name] = list(names.rules.all_of(ids, found))
    if (questions := expect.get(QUESTIONS)) is not None:
        expected[QUESTIONS.name] = list(names.testable.all_of(questions, found))
    for list_key in (MATERIALS, NOT_CHOSEN, AVOIDED):
        if (materials := expect.get(list_key)) is not None:
            expected[list_key.name] = list(names.materials.all_of(materials, found))
    if (arrangements := expect.get(ARRANGEMENTS)) is not None:
        for name, _ in arrangements.value:
            names.arrangements.find(name, found)
        expected[ARRANGEMENTS.name] = {
            name.value: day.value.isoformat() for name, day in arrangements.value if day
        }
    if (plan := expect.get(PLAN)) is not None:
        for step in plan.value:
            if len(step.value) > 2:
                found.add("step-not-a-pair", step.place, "A step has two tiers.", "Write `[from, to]`.")
        expected[PLAN.name] = [[tier.value for tier in step.value] for step in plan.value]
    return expected
