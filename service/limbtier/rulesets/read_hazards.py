"""Reads `hazards.yaml`: the hazard log, its scales and its matrix."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final, cast

from limbtier.domain.hazard import (
    HAZARD_STATUSES,
    REFERENCE_KINDS,
    Control,
    Hazard,
    HazardLog,
    HazardStatus,
    Level,
    Reference,
    ReferenceKind,
    Risk,
)
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.records import Fields, Key, ListOf, Record
from limbtier.rulesets.rule_file import compose_file
from limbtier.rulesets.shapes import Day, Identifier, NameUsed, Number, OneOf, Text, Version, Word, word_list

FILE: Final = "hazards.yaml"
TEST_PATH: Final = re.compile(r"tests/[a-z0-9_/]+\.py::test_[a-z0-9_]+\Z")

ProvedId: Final = Word(
    r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", "bad-id", "Write the id of a proof, as `limbtier prove` prints it."
)
TestPath: Final = Text()
REFERENCES: Final = (
    Key("guard_rail", Identifier, "a guard rail by its id"),
    Key("proof", ProvedId, "a statement that is proved, by its id"),
    Key("check", Identifier, "a check of rule files by its code"),
    Key("test", TestPath, "a test as `tests/folder/file.py::name`"),
)
REFERENCE: Final = Record("a reference", REFERENCES)

CONTROL_TEXT: Final = Key("text", Text(), "what the service does", required=True)
SHOWN_BY: Final = Key("shown_by", ListOf(REFERENCE), "what shows that it does", required=True)
CONTROL: Final = Record("a control", (CONTROL_TEXT, SHOWN_BY))

SEVERITY: Final = Key("severity", NameUsed, "how bad, a name of the scale", required=True)
LIKELIHOOD: Final = Key("likelihood", NameUsed, "how likely, a name of the scale", required=True)
RISK: Final = Record("a risk", (SEVERITY, LIKELIHOOD))

ID: Final = Key("id", Identifier, "its id, in small letters, digits and -", required=True)
HAZARD: Final = Key("hazard", Text(), "what could go wrong", required=True)
CAUSES: Final = Key("causes", ListOf(Text()), "why it could", required=True)
EFFECT: Final = Key("effect", Text(), "what it could do to a person", required=True)
INITIAL: Final = Key("initial", RISK, "the risk without the controls", required=True)
CONTROLS: Final = Key("controls", ListOf(CONTROL), "what stands in its way", required=True)
RESIDUAL: Final = Key("residual", RISK, "the risk with the controls", required=True)
LEFT: Final = Key(
    "left_to_deployer", ListOf(Text(), least=0), "what only the deploying organisation can do", required=True
)
STATUS: Final = Key("status", OneOf(HAZARD_STATUSES), "where it stands", required=True)
ENTRY: Final = Record("a hazard", (ID, HAZARD, CAUSES, EFFECT, INITIAL, CONTROLS, RESIDUAL, LEFT, STATUS))

NAME: Final = Key("name", NameUsed, "the word of the scale", required=True)
TITLE: Final = Key("title", Text(), "how it is shown", required=True)
MEANING: Final = Key("meaning", Text(), "what it means", required=True)
LEVEL: Final = Record("a level", (NAME, TITLE, MEANING))
ROW_RATINGS: Final = Key(
    "ratings", ListOf(Number(whole=True)), "a rating for each severity, lowest first", required=True
)
ROW: Final = Record("a row", (LIKELIHOOD, ROW_RATINGS))
RATING: Final = Key("rating", Number(whole=True), "a rating", required=True)
RATING_MEANING: Final = Record("a rating", (RATING, MEANING))

VERSION: Final = Key("version", Version, "the version of the log", required=True)
LOG_TITLE: Final = Key("title", Text(), "what the log is called", required=True)
STATEMENT: Final = Key("statement", Text(), "what the log is, and what it does not claim", required=True)
SIGN_OFF: Final = Key("sign_off", Text(), "who has signed it, or what is awaited", required=True)
REVIEWED_ON: Final = Key("reviewed_on", Day(), "the day on which it was last gone through", required=True)
SCALES_SOURCE: Final = Key("scales_source", Text(), "where scales and matrix are from", required=True)
SEVERITIES: Final = Key("severities", ListOf(LEVEL), "the scale of severity, lowest first", required=True)
LIKELIHOODS: Final = Key("likelihoods", ListOf(LEVEL), "the scale of likelihood, lowest first", required=True)
MATRIX: Final = Key("matrix", ListOf(ROW), "the ratings, a row for each likelihood", required=True)
ACCEPTABILITY: Final = Key("acceptability", ListOf(RATING_MEANING), "what each rating means", required=True)
HAZARDS: Final = Key("hazards", ListOf(ENTRY), "all hazards", required=True)
HAZARDS_FILE: Final = Record(
    "the file",
    (
        VERSION,
        LOG_TITLE,
        STATEMENT,
        SIGN_OFF,
        REVIEWED_ON,
        SCALES_SOURCE,
        SEVERITIES,
        LIKELIHOODS,
        MATRIX,
        ACCEPTABILITY,
        HAZARDS,
    ),
)


def load_hazards(folder: Path) -> HazardLog:
    """The hazard log of a rules folder. Raises InvalidRuleFiles with every diagnostic."""
    found = Findings()
    log = read_hazards(compose_file(folder / FILE, FILE, found), found)
    found.refuse()
    if log is None:
        raise AssertionError("a hazard log without findings has all its parts")
    return log


def read_hazards(root: Node | None, found: Findings) -> HazardLog | None:
    """The log, or None when anything was refused."""
    fields = HAZARDS_FILE.read(root, "The file", found) if root is not None else None
    if fields is None:
        return None
    severities = _levels(fields.get(SEVERITIES), "severity", found)
    likelihoods = _levels(fields.get(LIKELIHOODS), "likelihood", found)
    ratings = _ratings(fields.get(MATRIX), severities, likelihoods, found)
    acceptability = _acceptability(fields, ratings, found)
    ids: Names[bool] = Names("hazard")
    hazards = [
        hazard
        for entry in _each(fields.get(HAZARDS))
        if (hazard := _hazard(entry, severities, likelihoods, ids, found)) is not None
    ]
    version, title, statement = fields.get(VERSION), fields.get(LOG_TITLE), fields.get(STATEMENT)
    sign_off, reviewed_on, source = fields.get(SIGN_OFF), fields.get(REVIEWED_ON), fields.get(SCALES_SOURCE)
    if len(found) or not (version and title and statement and sign_off and reviewed_on and source):
        return None
    return HazardLog(
        version=version.value,
        title=title.value,
        statement=statement.value,
        sign_off=sign_off.value,
        reviewed_on=reviewed_on.value,
        scales_source=source.value,
        severities=tuple(severities.known.values()),
        likelihoods=tuple(likelihoods.known.values()),
        ratings=ratings,
        acceptability=acceptability,
        hazards=tuple(hazards),
        file=FILE,
    )


def _each(listed: Placed[tuple[Fields, ...]] | None) -> Sequence[Fields]:
    return listed.value if listed else ()


def _levels(listed: Placed[tuple[Fields, ...]] | None, scale: str, found: Findings) -> Names[Level]:
    names: Names[Level] = Names(scale)
    for entry in _each(listed):
        name, title, meaning = entry.get(NAME), entry.get(TITLE), entry.get(MEANING)
        if name and title and meaning:
            names.give(name, Level(name.value, title.value, meaning.value), found)
        else:
            names.complete = False
    names.complete = names.complete and listed is not None and not listed.lost
    return names


def _ratings(
    listed: Placed[tuple[Fields, ...]] | None,
    severities: Names[Level],
    likelihoods: Names[Level],
    found: Findings,
) -> Mapping[tuple[str, str], int]:
    """The matrix; a row for each likelihood and a number for each severity."""
    ratings: dict[tuple[str, str], int] = {}
    rows: Names[bool] = Names("row of the matrix")
    for entry in _each(listed):
        name, numbers = entry.get(LIKELIHOOD), entry.get(ROW_RATINGS)
        if not (name and numbers and rows.give(name, True, found)):
            continue
        likelihoods.find(name, found)
        if severities.complete and numbers.whole and len(numbers.value) != len(severities.known):
            message = f"The row has {len(numbers.value)} ratings for {len(severities.known)} severities."
            found.add("wrong-shape", numbers.place, message, "Give one for each severity, lowest first.")
        ratings |= {
            (name.value, severity): int(number.value)
            for severity, number in zip(severities.known, numbers.value, strict=False)
        }
    missing = [name for name in likelihoods.known if name not in rows.known]
    if listed and not listed.lost and missing and all(entry.whole for entry in listed.value):
        message = f"The matrix has no row for {word_list(missing)}."
        found.add("missing-key", listed.place, message, "Add a row for each likelihood.")
    return ratings


def _acceptability(
    fields: Fields, ratings: Mapping[tuple[str, str], int], found: Findings
) -> Mapping[int, str]:
    """What each rating means; one that the matrix gives and nothing explains is named."""
    listed = fields.get(ACCEPTABILITY)
    meanings: dict[int, str] = {}
    for entry in _each(listed):
        rating, meaning = entry.get(RATING), entry.get(MEANING)
        if rating and meaning:
            if int(rating.value) in meanings:
                found.add(
                    "listed-twice",
                    rating.place,
                    f"`{rating.value}` is listed twice.",
                    "Take one of the two out.",
                )
            meanings[int(rating.value)] = meaning.value
    missing = sorted(set(ratings.values()) - meanings.keys())
    if listed and listed.whole and missing:
        message = f"Nothing says what a rating of {missing[0]} means."
        found.add("missing-key", listed.place, message, "Add every rating of the matrix.")
    return meanings


def _hazard(
    entry: Fields,
    severities: Names[Level],
    likelihoods: Names[Level],
    ids: Names[bool],
    found: Findings,
) -> Hazard | None:
    hazard_id, hazard, causes = entry.get(ID), entry.get(HAZARD), entry.get(CAUSES)
    effect, left, status = entry.get(EFFECT), entry.get(LEFT), entry.get(STATUS)
    if hazard_id:
        ids.give(hazard_id, True, found, "duplicate-id")
    initial = _risk(entry.get(INITIAL), severities, likelihoods, found)
    residual = _risk(entry.get(RESIDUAL), severities, likelihoods, found)
    controls = [_control(control, found) for control in _each(entry.get(CONTROLS))]
    if not (hazard_id and hazard and causes and effect and left and status and initial and residual):
        return None
    return Hazard(
        id=hazard_id.value,
        hazard=hazard.value,
        causes=tuple(cause.value for cause in causes.value),
        effect=effect.value,
        initial=initial,
        controls=tuple(control for control in controls if control is not None),
        residual=residual,
        left_to_deployer=tuple(text.value for text in left.value),
        status=cast("HazardStatus", status.value),
    )


def _risk(
    fields: Fields | None, severities: Names[Level], likelihoods: Names[Level], found: Findings
) -> Risk | None:
    severity = fields.get(SEVERITY) if fields else None
    likelihood = fields.get(LIKELIHOOD) if fields else None
    if severity:
        severities.find(severity, found)
    if likelihood:
        likelihoods.find(likelihood, found)
    return Risk(severity.value, likelihood.value) if severity and likelihood else None


def _control(entry: Fields, found: Findings) -> Control | None:
    text, shown_by = entry.get(CONTROL_TEXT), entry.get(SHOWN_BY)
    references = [_reference(one, found) for one in _each(shown_by)]
    if not (text and shown_by):
        return None
    return Control(text.value, tuple(one for one in references if one is not None))


def _reference(entry: Fields, found: Findings) -> Reference | None:
    """The one thing a reference names."""
    if len(entry.written) != 1:
        message = (
            f"The reference names {len(entry.written) or 'nothing'}{' things' if entry.written else ''}."
        )
        advice = f"Give exactly one of {word_list(REFERENCE_KINDS)}."
        if entry.whole:
            found.add("wrong-shape", entry.place, message, advice)
        return None
    for key in REFERENCES:
        name = entry.get(key)
        if name is None:
            continue
        if key.name == "test" and not TEST_PATH.match(name.value):
            advice = "Write `tests/folder/file.py::test_name`."
            found.add("bad-name", name.place, f"`test` is `{name.value[:80]}`.", advice)
            return None
        return Reference(cast("ReferenceKind", key.name), name.value, name.place.line, name.place.column)
    return None
