"""Reads `cases/*.yaml` of an edition that is based on another: worked cases added, and those of the base that
come out differently here, each with a reason. All other cases of the base must come out as they did."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from limbtier.domain.edition import WorkedCase
from limbtier.rulesets.changes import WHY, Changes
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.read_cases import (
    ANSWERS,
    CASE,
    EXPECTED,
    LIMB,
    PERSON,
    STORY,
    WITHDRAWN,
    CasesRead,
    Start,
    answers_of,
    expected_of,
    laid_over,
    read_cases,
    read_starts,
)
from limbtier.rulesets.read_rules import EditionNames
from limbtier.rulesets.records import Fields, Key, ListOf, Record
from limbtier.rulesets.shapes import Identifier

CASE_ID: Final = Key("id", Identifier, "the id of a case of the base", required=True)
EXPECT: Final = Key(
    "expect",
    Record("an expectation", tuple(replace(key, required=False) for key in EXPECTED.keys)),
    "what comes out differently; the rest is expected as in the base",
)
NEW_STORY: Final = replace(STORY, required=False)
DIFFERING: Final = Record("a case", (CASE_ID, NEW_STORY, PERSON, LIMB, WITHDRAWN, EXPECT))
DIFFERING_CASES: Final = Key(
    "cases", ListOf(DIFFERING), "the cases that differ for this reason", required=True
)
REPLACE: Final = Key(
    "replace",
    ListOf(Record("cases that differ", (*WHY, DIFFERING_CASES))),
    "cases of the base that come out differently",
)
WITHDRAW: Final = Key(
    "withdraw",
    ListOf(Record("a withdrawal", (CASE_ID, *WHY))),
    "cases of the base that say nothing here",
)
CASES: Final = Key("cases", ListOf(CASE), "further worked cases")
LOCAL_CASES_FILE: Final = Record("the file", (ANSWERS, CASES, REPLACE, WITHDRAW))


class LocalCases:
    """The cases of the base, changed and added to file by file."""

    def __init__(self, names: EditionNames, changes: Changes, found: Findings) -> None:
        base = changes.base
        self._names, self._changes, self._found = names, changes, found
        self._of_base = {case.id: case for case in base.cases}
        self._read = CasesRead(
            starts=Names(
                "starting point",
                {
                    name: Start(dict(start.person), dict(start.limb), whole=True)
                    for name, start in base.starting_points.items()
                },
                base=base.id,
                instead="Take another name; a starting point of the base stays.",
            ),
            ids=Names(
                "case",
                dict.fromkeys(self._of_base, True),
                base=base.id,
                instead="Take another id, or put it under `replace`.",
            ),
        )
        self._merged: dict[str, WorkedCase] = dict(self._of_base)

    def starts(self, root: Node | None, file: str) -> Fields | None:
        """Record the starting points of one file; all files come before any case. Returns its fields."""
        return (
            read_starts(root, file, self._names, self._read, self._found, LOCAL_CASES_FILE) if root else None
        )

    def cases(self, fields: Fields | None) -> None:
        """The cases of one file."""
        if fields is None:
            return
        if not fields.written and fields.whole:
            message = "The file changes nothing."
            self._found.add("changes-nothing", fields.place, message, "Take it away, or fill it.")
        read_cases(fields, self._names, self._read, self._found)
        replaced, withdrawn = fields.get(REPLACE), fields.get(WITHDRAW)
        for group in replaced.value if replaced else ():
            listed = group.get(DIFFERING_CASES)
            for entry in listed.value if listed else ():
                self._replace(entry, group)
        for entry in withdrawn.value if withdrawn else ():
            case_id = entry.get(CASE_ID)
            if case_id and self._read.ids.of_base(case_id, self._found):
                before = self._of_base[case_id.value]
                if self._changes.change("case", "withdrawn", case_id, entry, before):
                    del self._merged[case_id.value]

    def merged(self) -> CasesRead:
        """All cases and starting points, once every file was read: those of the base first."""
        for case in self._read.cases:
            if case.id not in self._of_base:
                self._changes.added("case", Placed(case.id, self._read.ids.places[case.id]))
        self._read.cases = [*self._merged.values(), *self._read.cases]
        return self._read

    def _replace(self, entry: Fields, group: Fields) -> None:
        case_id, story, expect = entry.get(CASE_ID), entry.get(NEW_STORY), entry.get(EXPECT)
        person, limb = answers_of(entry, self._names, self._found)
        expected = expected_of(expect, self._names, self._found) if expect else {}
        if case_id is None or not self._read.ids.of_base(case_id, self._found):
            return
        before = self._of_base[case_id.value]
        answered = before.assessment["limbs"][before.limb]
        start = Start(dict(before.assessment["person"]), dict(answered), whole=True)
        person, limb = laid_over(entry, start, (person, limb), self._names, self._found)
        if not self._changes.change("case", "replaced", case_id, group, before):
            return
        assessment: dict[str, Any] = {**before.assessment, "person": person, "limbs": {before.limb: limb}}
        case = replace(
            before,
            story=story.value if story else before.story,
            assessment=assessment,
            expect={**before.expect, **expected},
            file=case_id.place.file,
            line=case_id.place.line,
        )
        if entry.whole and (case.assessment, case.expect) == (before.assessment, before.expect):
            self._changes.refuse_same(f"case `{case_id.value}`", case_id.place)
        self._merged[case_id.value] = case
