"""Reads `checks.yaml`: how severe each check of rule files is, its marks, and which findings are accepted."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Final, Literal, cast, get_args

from limbtier.foundation.diagnostics import Severity
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.records import Fields, Key, ListOf, MapOf, Record
from limbtier.rulesets.shapes import (
    Day,
    EditionId,
    Identifier,
    Name,
    NameUsed,
    Number,
    OneOf,
    Role,
    Text,
)
from limbtier.rulesets.strict_yaml import compose

FILE: Final = "checks.yaml"

CheckSeverity = Literal["error", "warning", "off"]
# What a finding can be about.
FoundPart = Literal[
    "arrangement",
    "case",
    "disposition",
    "edition",
    "fact",
    "input",
    "lift",
    "material",
    "rule",
    "setting",
    "source",
    "suppression",
    "tier",
    "wording",
]

CHECK: Final = Key("check", Identifier, "the id of a check", required=True)
SEVERITY: Final = Key(
    "severity", OneOf(get_args(CheckSeverity)), "what a finding of it counts as", required=True
)
WHY: Final = Key("reason", Text(), "why", required=True)
SEVERITIES: Final = Key(
    "severities",
    ListOf(Record("a severity", (CHECK, SEVERITY, WHY)), least=0),
    "checks whose severity here is not the one that they come with",
    required=True,
)

GRADE: Final = Key("reading_grade", Number(), "the highest school grade of a reason", required=True)
WORDS: Final = Key("words_in_a_sentence", Number(whole=True), "the most words of a sentence", required=True)
CHECKED: Final = Key(
    "source_checked_within_days", Number(whole=True), "how long a source stays looked at", required=True
)
MARKS: Final = Key(
    "marks", Record("the marks", (GRADE, WORDS, CHECKED)), "where checks draw a line", required=True
)

KNOWN: Final = Key(
    "known_words",
    ListOf(Text()),
    "names with a capital letter, and abbreviations, that are neither brands nor people",
    required=True,
)
BROUGHT_BY: Final = Key(
    "brought_by",
    MapOf(Name, ListOf(NameUsed)),
    "for a lift the arrangements of which one brings it",
    required=True,
)

EDITION: Final = Key("edition", EditionId, "the id of the edition", required=True)
PART: Final = Key("part", OneOf(get_args(FoundPart)), "what it is about", required=True)
NAMED: Final = Key("name", Text(), "its name or id", required=True)
DECIDED_BY: Final = Key("decided_by", Role(), "the role that decided it, not a person", required=True)
UNTIL: Final = Key("until", Day(), "the last day on which it holds", required=True)
SUPPRESSIONS: Final = Key(
    "suppressions",
    ListOf(Record("a suppression", (CHECK, EDITION, PART, NAMED, WHY, DECIDED_BY, UNTIL)), least=0),
    "findings that are accepted, each for a reason and for a time",
    required=True,
)
CHECKS_FILE: Final = Record("the file", (SEVERITIES, MARKS, KNOWN, BROUGHT_BY, SUPPRESSIONS))


@dataclass(frozen=True, slots=True)
class Suppression:
    """A finding that is accepted until a day, and that day included, for a reason that a role has given."""

    check: str
    edition: str
    part: FoundPart
    name: str
    reason: str
    decided_by: str
    until: date
    file: str
    line: int


@dataclass(frozen=True, slots=True)
class Marks:
    """Where checks draw a line: a school grade, words of a sentence, days since a source was looked at."""

    reading_grade: Fraction
    words_in_a_sentence: int
    source_checked_within_days: int


@dataclass(frozen=True, slots=True)
class CheckSettings:
    """Everything of `checks.yaml`. Without `marks` the checks that need one find nothing."""

    severities: Mapping[str, CheckSeverity] = field(default_factory=dict)
    marks: Marks | None = None
    known_words: tuple[str, ...] = ()
    brought_by: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    suppressions: tuple[Suppression, ...] = ()


def read_checks(
    root: Node | None, checks: Collection[str], editions: Collection[str], found: Findings
) -> CheckSettings:
    """How rule files are judged. `checks` are the ids of all checks, `editions` those of all editions."""
    fields = CHECKS_FILE.read(root, "The file", found) if root is not None else None
    if fields is None:
        return CheckSettings()
    check_ids: Names[bool] = Names("check", dict.fromkeys(checks, True))
    edition_ids: Names[bool] = Names("edition", dict.fromkeys(editions, True))
    known, brought_by = fields.get(KNOWN), fields.get(BROUGHT_BY)
    return CheckSettings(
        _severities(fields, check_ids, found),
        _marks(fields),
        tuple(word.value for word in known.value) if known else (),
        {
            lift.value: tuple(name.value for name in names.value)
            for lift, names in (brought_by.value if brought_by else ())
            if names is not None
        },
        _suppressions(fields, check_ids, edition_ids, found),
    )


def _severities(fields: Fields, checks: Names[bool], found: Findings) -> dict[str, CheckSeverity]:
    listed = fields.get(SEVERITIES)
    given: Names[bool] = Names("severity of the check")
    severities: dict[str, CheckSeverity] = {}
    for entry in listed.value if listed else ():
        check, severity = entry.get(CHECK), entry.get(SEVERITY)
        if check and severity and given.give(check, True, found):
            checks.find(check, found)
            severities[check.value] = cast("CheckSeverity", severity.value)
    return severities


def _marks(fields: Fields) -> Marks | None:
    marks = fields.get(MARKS)
    grade = marks.get(GRADE) if marks else None
    words = marks.get(WORDS) if marks else None
    days = marks.get(CHECKED) if marks else None
    if not (grade and words and days):
        return None
    return Marks(grade.value, int(words.value), int(days.value))


def _suppressions(
    fields: Fields, checks: Names[bool], editions: Names[bool], found: Findings
) -> tuple[Suppression, ...]:
    listed = fields.get(SUPPRESSIONS)
    read: list[Suppression] = []
    for entry in listed.value if listed else ():
        check, edition, part = entry.get(CHECK), entry.get(EDITION), entry.get(PART)
        name, reason, decided_by = entry.get(NAMED), entry.get(WHY), entry.get(DECIDED_BY)
        until = entry.get(UNTIL)
        for used, names in ((check, checks), (edition, editions)):
            if used:
                names.find(used, found)
        if not (check and edition and part and name and reason and decided_by and until):
            continue
        suppression = Suppression(
            check.value,
            edition.value,
            cast("FoundPart", part.value),
            name.value,
            reason.value,
            decided_by.value,
            until.value,
            check.place.file,
            check.place.line,
        )
        _refuse_twice(suppression, read, check, found)
        read.append(suppression)
    return tuple(read)


def _refuse_twice(
    suppression: Suppression, earlier: list[Suppression], place: Placed[str], found: Findings
) -> None:
    for other in earlier:
        if (other.check, other.edition, other.part, other.name) == (
            suppression.check,
            suppression.edition,
            suppression.part,
            suppression.name,
        ):
            message = f"The same is suppressed twice; first in line {other.line}."
            found.add("listed-twice", place.place, message, "Take one of the two out.")


def severity_of(settings: CheckSettings, check: str, otherwise: Severity) -> CheckSeverity:
    """What a finding of a check counts as here."""
    return settings.severities.get(check, otherwise)


def checks_of(data: bytes | None, checks: Collection[str], editions: Collection[str]) -> CheckSettings:
    """The settings that `checks.yaml` holds, None where it is missing. Raises InvalidRuleFiles."""
    found = Findings()
    settings = CheckSettings()
    if data is None:
        message = "The file is missing; it says how rule files are judged."
        found.add_file("missing-file", FILE, message, "Add it; an empty list is written `[]`.")
    else:
        settings = read_checks(compose(data, FILE, found), checks, editions, found)
    found.refuse()
    return settings
