"""Reads `caseload.yaml`: what the due list and the picture of a caseload count."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import Final

from limbtier.domain.caseload import CaseloadTerms
from limbtier.domain.due_reviews import DueTerms
from limbtier.domain.episode_state import TIERS
from limbtier.domain.pathway import Pathway
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names, distinct
from limbtier.rulesets.records import Key, ListOf, Record
from limbtier.rulesets.shapes import Identifier, NameUsed, Number, OneOf
from limbtier.rulesets.strict_yaml import LARGEST_BYTES, compose

FILE: Final = "caseload.yaml"
MOST_WEEKS: Final = 104

STUCK: Final = Key(
    "stuck_on_starter_tier", ListOf(Identifier), "watch rules that say that a leg was left", required=True
)
OVERDUE: Final = Key(
    "assessment_overdue", ListOf(Identifier), "watch rules on the full assessment", required=True
)
DUE_LIST: Final = Key(
    "due_list", Record("the due list", (STUCK, OVERDUE)), "what puts an episode on the list", required=True
)

_DAYS: Final = ListOf(Number(whole=True))
STARTERS: Final = Key(
    "starter_tiers", ListOf(OneOf(TIERS[1:])), "tiers that nobody should be left on", required=True
)
STARTER_AFTER: Final = Key(
    "starter_after_days",
    _DAYS,
    "days from the start of compression at which that is looked at",
    required=True,
)
ASSESSMENT: Final = Key(
    "assessment", NameUsed, "the group of kept answers that makes a full assessment", required=True
)
WITHIN: Final = Key(
    "assessment_within_days", Number(whole=True), "days from first contact it may take", required=True
)
REACHED_BY: Final = Key(
    "reached_by_days", _DAYS, "days from first contact by which tiers are reached", required=True
)
WEEKS: Final = Key("area_weeks", Number(whole=True), "weeks of change in area, at most 104", required=True)
CASELOAD: Final = Key(
    "caseload",
    Record("the picture", (STARTERS, STARTER_AFTER, ASSESSMENT, WITHIN, REACHED_BY, WEEKS)),
    "what the picture of a caseload counts",
    required=True,
)
CASELOAD_FILE: Final = Record("the file", (DUE_LIST, CASELOAD))


def load_caseload_terms(folder: Path, pathway: Pathway) -> tuple[DueTerms, CaseloadTerms]:
    """What the file of a rules folder says, its names checked against a pathway. Raises InvalidRuleFiles."""
    found = Findings()
    path = folder / FILE
    if not path.is_file():
        found.add_file("missing-file", FILE, "The file is missing.", f"Add `{FILE}` to the rules folder.")
        found.refuse()
    with path.open("rb") as opened:
        root = compose(opened.read(LARGEST_BYTES + 1), FILE, found)
    fields = CASELOAD_FILE.read(root, "The file", found) if root is not None else None
    listed = fields.get(DUE_LIST) if fields else None
    counted = fields.get(CASELOAD) if fields else None
    watched = _names("watch rule", [one.rule.id for one in pathway.watch])
    groups = _names("group of kept answers", [one.name for one in pathway.kept if one.measured_by])
    stuck, overdue = (watched.all_of(listed.get(key) if listed else None, found) for key in (STUCK, OVERDUE))
    starters = counted.get(STARTERS) if counted else None
    after, by = (_whole(counted.get(key) if counted else None, found) for key in (STARTER_AFTER, REACHED_BY))
    assessment = counted.get(ASSESSMENT) if counted else None
    within = counted.get(WITHIN) if counted else None
    weeks = counted.get(WEEKS) if counted else None
    if assessment:
        groups.find(assessment, found)
    if weeks and weeks.value > MOST_WEEKS:
        message = f"`area_weeks` is {weeks.value}."
        found.add("out-of-range", weeks.place, message, f"Write at most {MOST_WEEKS}.")
    found.refuse()
    if not (starters and assessment and within and weeks):
        raise AssertionError("a key that is required was neither read nor refused")
    return DueTerms(stuck, overdue), CaseloadTerms(
        distinct(starters.value, found), after, assessment.value, int(within.value), by, int(weeks.value)
    )


def _names(what: str, known: Iterable[str]) -> Names[bool]:
    return Names(what, dict.fromkeys(known, True))


def _whole(used: Placed[tuple[Placed[Fraction], ...]] | None, found: Findings) -> tuple[int, ...]:
    return tuple(sorted(int(one) for one in distinct(used.value, found))) if used else ()
