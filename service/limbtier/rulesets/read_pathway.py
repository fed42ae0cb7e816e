"""Reads pathways: what holds between the contacts of an episode. They stand apart from every edition."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import Final, cast

from limbtier.domain.edition import Basis, Edition, Source
from limbtier.domain.episode_state import EventKind, KeptGroup
from limbtier.domain.pathway import WATCH_MEASURES, EventInputs, Pathway, Plausibility, WatchRule
from limbtier.domain.rule import Conclusions, Rule
from limbtier.rulesets import read_lists
from limbtier.rulesets.digest import digest
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names, Testable, Testing, distinct
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.read_conditions import condition_reference, read_condition
from limbtier.rulesets.records import AsWritten, Fields, Key, ListOf, Record
from limbtier.rulesets.shapes import (
    EditionVersion,
    Identifier,
    IntervalText,
    Name,
    NameUsed,
    Number,
    OneOf,
    Role,
    Text,
)
from limbtier.rulesets.strict_yaml import LARGEST_BYTES, compose

BECAUSE: Final = Key("because", Text(), "why, in plain words", required=True)
SOURCES_USED: Final = Key("sources", ListOf(Identifier), "ids of its sources", required=True)
TITLE: Final = Key("title", Text(), "in a few words", required=True)

GROUP_NAME: Final = Key("name", Name, "the name of the group", required=True)
FOR: Final = Key("for", IntervalText(review=True), "for how long; the whole episode if not given")
GROUP_INPUTS: Final = Key("inputs", ListOf(NameUsed), "the inputs whose answers are kept", required=True)
MEASURED_BY: Final = Key(
    "measured_by", ListOf(NameUsed), "the inputs of which one must have a value for it to be a measurement"
)
DATED_BY: Final = Key("dated_by", NameUsed, "the input with the day of the measurement")
GROUP: Final = Record(
    "a group of kept answers",
    (GROUP_NAME, TITLE, FOR, GROUP_INPUTS, MEASURED_BY, DATED_BY, BECAUSE, SOURCES_USED),
)
KEPT: Final = Key("kept", ListOf(GROUP), "the answers that are kept between contacts", required=True)

_CARRYING: Final = ("arterial_result_received", "advice_given")
KIND: Final = Key("kind", OneOf(_CARRYING), "the kind of event", required=True)
EVENT_INPUTS: Final = Key("inputs", ListOf(NameUsed), "the inputs that it may answer", required=True)
EVENTS: Final = Key(
    "events",
    ListOf(Record("the inputs of an event", (KIND, EVENT_INPUTS)), least=2),
    "which answers events may carry",
    required=True,
)

AREA_FACTOR: Final = Key("area_factor", Number(), "how many times as large or as small", required=True)
AREA_DAYS: Final = Key("area_days", Number(whole=True), "within how many days", required=True)
GIRTH_FACTOR: Final = Key("girth_factor", Number(), "how many times as large or as small", required=True)
GIRTH_DAYS: Final = Key("girth_days", Number(whole=True), "within how many days", required=True)
SWAPPED_WITHIN: Final = Key(
    "swapped_within_cm", Number(), "how near the girths are to the other leg's", required=True
)
SWAPPED_APART: Final = Key(
    "swapped_apart_cm", Number(), "how far the girths are from the own leg's", required=True
)
PLAUSIBILITY: Final = Key(
    "plausibility",
    Record(
        "what is asked about",
        (AREA_FACTOR, AREA_DAYS, GIRTH_FACTOR, GIRTH_DAYS, SWAPPED_WITHIN, SWAPPED_APART),
    ),
    "what is asked about before a decision",
    required=True,
)

ID: Final = Key("id", Identifier, "its id, in small letters, digits and -", required=True)
WHEN: Final[Key[Node]] = Key("when", AsWritten(condition_reference), "when it applies", required=True)
DO: Final = Key("do", Text(), "what to do about it", required=True)
WITHIN: Final = Key("within", IntervalText(), "by when", required=True)
WATCH_RULE: Final = Record("a watch rule", (ID, TITLE, WHEN, DO, WITHIN, BECAUSE, SOURCES_USED))
WATCH: Final = Key("watch", ListOf(WATCH_RULE), "what is watched between contacts", required=True)

VERSION: Final = Key("version", EditionVersion, "the version, as the file's name", required=True)
OWNER: Final = Key("owner", Role(), "the role that answers for it", required=True)
SOURCES: Final = Key("sources", ListOf(read_lists.SOURCE), "what it rests on", required=True)
PATHWAY_FILE: Final = Record("the file", (VERSION, TITLE, OWNER, SOURCES, KEPT, EVENTS, PLAUSIBILITY, WATCH))


def load_pathways(folder: Path, editions: Iterable[Edition]) -> list[Pathway]:
    """Every pathway of `pathway/` in the rules folder, the newest last; none without that folder. Its names
    are checked against every edition. Raises InvalidRuleFiles with the diagnostics of all files."""
    found = Findings()
    read = []
    for file in sorted((folder / "pathway").glob("*.yaml"), key=lambda one: _place(one.stem)):
        name = f"pathway/{file.name}"
        with file.open("rb") as opened:
            data = opened.read(LARGEST_BYTES + 1)
        root = compose(data, name, found)
        pathway = read_pathway(root, file.stem, digest({file.name: data}), list(editions), found)
        if pathway is not None:
            read.append(pathway)
    found.refuse()
    return read


def _place(version: str) -> tuple[int, ...]:
    return tuple(int(part) if part.isdigit() else 0 for part in version.split("."))


def read_pathway(
    root: Node | None, file_version: str, fingerprint: str, editions: list[Edition], found: Findings
) -> Pathway | None:
    """The pathway of a file; None when anything was refused."""
    before = len(found)
    fields = PATHWAY_FILE.read(root, "The file", found) if root is not None else None
    if fields is None:
        return None
    version, title, owner = fields.get(VERSION), fields.get(TITLE), fields.get(OWNER)
    if version and version.value != file_version:
        message = f"`version` is `{version.value}`, but the file is named `{file_version}`."
        found.add("folder-disagrees", version.place, message, "Write the same in both.")
    sources = _sources(fields, found)
    inputs = _inputs(editions)
    kept = _kept(fields, inputs, sources, found)
    events = _events(fields, inputs, found)
    plausibility = _plausibility(fields)
    watch = _watch(fields, sources, found)
    if len(found) > before or not (version and title and owner and plausibility):
        return None
    return Pathway(
        version.value,
        title.value,
        owner.value,
        fingerprint,
        sources.known,
        tuple(kept),
        events,
        plausibility,
        tuple(watch),
    )


def _inputs(editions: list[Edition]) -> Names[bool]:
    """The inputs that every edition has."""
    known = [set(edition.vocabulary.inputs) for edition in editions]
    common = set.intersection(*known) if known else set()
    return Names("input of every edition", dict.fromkeys(sorted(common), True), complete=bool(known))


def _sources(fields: Fields, found: Findings) -> Names[Source]:
    sources: Names[Source] = Names("source")
    for entry in _entries(fields, SOURCES, sources):
        name, title, basis = (
            entry.get(read_lists.ID),
            entry.get(read_lists.TITLE),
            entry.get(read_lists.BASIS),
        )
        point, checked_on = entry.get(read_lists.POINT), entry.get(read_lists.CHECKED_ON)
        if name and title and basis and point and checked_on:
            source = Source(
                name.value, title.value, cast("Basis", basis.value), point.value, checked_on.value
            )
            sources.give(name, source, found, "duplicate-id")
    return sources


def _entries(
    fields: Fields, key: Key[Placed[tuple[Fields, ...]]], names: Names[Source]
) -> tuple[Fields, ...]:
    listed = fields.get(key)
    names.complete = listed is not None and listed.whole
    return listed.value if listed else ()


def _kept(
    fields: Fields, inputs: Names[bool], sources: Names[Source], found: Findings
) -> Iterable[KeptGroup]:
    groups: Names[bool] = Names("group of kept answers")
    all_inputs: list[Placed[str]] = []
    listed = fields.get(KEPT)
    for entry in listed.value if listed else ():
        name, named, interval = entry.get(GROUP_NAME), entry.get(GROUP_INPUTS), entry.get(FOR)
        sources.all_of(entry.get(SOURCES_USED), found)
        members = inputs.all_of(named, found)
        all_inputs += named.value if named else ()
        of_group: Names[bool] = Names("input of the group", dict.fromkeys(members, True))
        of_group.complete = named is not None and named.whole
        measured_by = of_group.all_of(entry.get(MEASURED_BY), found)
        dated_by = entry.get(DATED_BY)
        if dated_by:
            of_group.find(dated_by, found)
        if name and groups.give(name, True, found):
            yield KeptGroup(
                name.value,
                members,
                interval.value.days() if interval else None,
                measured_by,
                dated_by.value if dated_by else None,
            )
    distinct(all_inputs, found)


def _events(fields: Fields, inputs: Names[bool], found: Findings) -> dict[str, EventInputs]:
    listed = fields.get(EVENTS)
    kinds: Names[EventInputs] = Names("kind of event")
    for entry in listed.value if listed else ():
        kind, members = entry.get(KIND), inputs.all_of(entry.get(EVENT_INPUTS), found)
        if kind:
            kinds.give(kind, EventInputs(cast("EventKind", kind.value), members), found)
    return kinds.known


def _plausibility(fields: Fields) -> Plausibility | None:
    entry = fields.get(PLAUSIBILITY)
    if entry is None:
        return None
    numbers = [
        entry.get(key)
        for key in (AREA_FACTOR, AREA_DAYS, GIRTH_FACTOR, GIRTH_DAYS, SWAPPED_WITHIN, SWAPPED_APART)
    ]
    values = [number.value for number in numbers if number is not None]
    if len(values) < len(numbers):
        return None
    area, area_days, girth, girth_days, within, apart = (Fraction(value) for value in values)
    return Plausibility(area, int(area_days), girth, int(girth_days), within, apart)


def _watch(fields: Fields, sources: Names[Source], found: Findings) -> Iterable[WatchRule]:
    testable: Names[Testable] = Names("measure of episodes")
    for measure in WATCH_MEASURES:
        testing: Testing = "words" if measure.choices else "number"
        testable.known[measure.name] = Testable(measure.name, testing, False, measure.choices, "measure")
    ids: Names[bool] = Names("watch rule")
    listed = fields.get(WATCH)
    for entry in listed.value if listed else ():
        rule_id, title, node, action = entry.get(ID), entry.get(TITLE), entry.get(WHEN), entry.get(DO)
        within, because = entry.get(WITHIN), entry.get(BECAUSE)
        used = sources.all_of(entry.get(SOURCES_USED), found)
        when = read_condition(node, testable, "`when`", found) if node is not None else None
        if within and within.value.kind == "days_of_first_contact":
            message = "A watch rule is counted from the day on which it is found."
            found.add("bad-interval", within.place, message, "Write `7 days` or `1 working day`.")
        if rule_id:
            ids.give(rule_id, True, found, "duplicate-id")
        if rule_id and title and when is not None and action and within and because:
            place = entry.place
            rule = Rule(
                rule_id.value,
                title.value,
                when,
                Conclusions(caution=(action.value,)),
                because.value,
                used,
                "watch",
                place.file,
                place.line,
            )
            yield WatchRule(rule, action.value, within.value)
