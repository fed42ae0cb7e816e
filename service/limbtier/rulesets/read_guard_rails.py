"""Reads guard rails: safety properties kept apart from every edition, in the names of its vocabulary."""

from __future__ import annotations

from typing import Final, cast, get_args

from limbtier.domain.condition import ALWAYS, names
from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.edition import Edition
from limbtier.domain.rule import Arrange, GuardCheck, GuardRail, GuardRails, Relation, Requirement
from limbtier.rulesets.findings import Findings, Place
from limbtier.rulesets.given_names import testable_of
from limbtier.rulesets.guarded_facts import refuse_redefined_facts
from limbtier.rulesets.names import Names, Testable, distinct
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.read_conditions import condition_reference, read_condition
from limbtier.rulesets.read_lists import TIERS_IN_ORDER
from limbtier.rulesets.records import AsWritten, Fields, Key, ListOf, Record
from limbtier.rulesets.shapes import (
    ChoiceValue,
    Identifier,
    IntervalText,
    NameUsed,
    OneOf,
    Text,
    Version,
    YesNo,
    word_list,
)

WHAT: Final = Key("what", NameUsed, "the arrangement", required=True)
WITHIN: Final = Key("within", IntervalText(), "by when at the latest", required=True)
TIER_AT_MOST: Final = Key("tier_at_most", OneOf(TIERS_IN_ORDER), "no tier above this one")
DISPOSITION: Final = Key("disposition", OneOf(DISPOSITIONS), "the disposition that must come out")
REVIEW_WITHIN: Final = Key("review_within", IntervalText(review=True), "the longest until the review")
ARRANGED: Final = Key("arranged", Record("an arrangement", (WHAT, WITHIN)), "what must be arranged")
SAFETY_NET: Final = Key("safety_net", YesNo(), "whether the safety-net advice must be there")
NO_AVOIDED: Final = Key("no_avoided_material", YesNo(), "whether no avoided material may be chosen")
REQUIRE: Final = Key(
    "require",
    Record("a requirement", (TIER_AT_MOST, DISPOSITION, REVIEW_WITHIN, ARRANGED, SAFETY_NET, NO_AVOIDED)),
    "what must hold",
    required=True,
)
WHEN: Final[Key[Node]] = Key(
    "when", AsWritten(condition_reference), "in which assessments; in all if not given"
)
FOR_DISPOSITIONS: Final = Key("dispositions", ListOf(OneOf(DISPOSITIONS)), "only decisions with one of these")
FOR_TIERS: Final = Key("tiers", ListOf(OneOf(TIERS_IN_ORDER)), "only decisions at one of these tiers")
FOR: Final = Key("for", Record("a choice of decisions", (FOR_DISPOSITIONS, FOR_TIERS)), "for which decisions")
CHECK: Final = Record("a check", (WHEN, FOR, REQUIRE))

ID: Final = Key("id", Identifier, "its id, in small letters, digits and -", required=True)
STATEMENT: Final = Key("statement", Text(), "the safety property in plain words", required=True)
CHECKS: Final = Key("checks", ListOf(CHECK), "what is demanded of a decision")
RELATION: Final = Key(
    "relation", OneOf(get_args(Relation)), "a property of two decisions, in place of checks"
)
RAIL: Final = Record("a guard rail", (ID, STATEMENT, CHECKS, RELATION))
VERSION: Final = Key("version", Version, "the version, as the file's name", required=True)
RAILS: Final = Key("rails", ListOf(RAIL), "all guard rails", required=True)
INPUT: Final = Key("input", NameUsed, "an input with choices", required=True)
VALUES: Final = Key("values", ListOf(ChoiceValue), "its choices that these guard rails know", required=True)
CHOICES: Final = Key(
    "choices",
    ListOf(Record("the choices of an input", (INPUT, VALUES))),
    "inputs whose choices these guard rails know; any other choice must say which of them it counts as",
)
GUARD_RAILS_FILE: Final = Record("the file", (VERSION, CHOICES, RAILS))


def read_guard_rails(
    root: Node | None, file_version: str, fingerprint: str, edition: Edition, found: Findings
) -> GuardRails:
    """All guard rails of a file; parts that were refused are left out, and then the file is refused."""
    fields = GUARD_RAILS_FILE.read(root, "The file", found) if root is not None else None
    if fields is None:
        return GuardRails("", fingerprint, ())
    version, listed = fields.get(VERSION), fields.get(RAILS)
    if version and version.value != file_version:
        message = f"`version` is `{version.value}`, but the file is named `{file_version}`."
        found.add("folder-disagrees", version.place, message, "Write the same in both.")
    testable = testable_of(edition)
    arrangements: Names[bool] = Names("arrangement", dict.fromkeys(edition.arrangements, True))
    ids: Names[bool] = Names("guard rail")
    rails: list[GuardRail] = []
    for entry in listed.value if listed else ():
        rail = _rail(entry, testable, arrangements, found)
        if rail_id := entry.get(ID):
            ids.give(rail_id, True, found, "duplicate-id")
        if rail is not None:
            rails.append(rail)
    _refuse_unknown_choices(fields, rails, edition, found)
    refuse_redefined_facts(rails, edition, found)
    return GuardRails(version.value if version else "", fingerprint, tuple(rails))


def _refuse_unknown_choices(
    fields: Fields, rails: list[GuardRail], edition: Edition, found: Findings
) -> None:
    """A choice that the guard rails do not know would pass them unseen, so it must say what it counts as.
    The current tier is ranked by the engine itself, and its choices must be known for the same reason."""
    listed = fields.get(CHOICES)
    known = {
        name.value: {value.value for value in values.value}
        for entry in (listed.value if listed else ())
        if (name := entry.get(INPUT)) and (values := entry.get(VALUES))
    }
    read = {name for rail in rails for check in rail.checks for name in names(check.when)} | {"current_tier"}
    place = listed.place if listed else fields.place
    added = {
        change.name: Place(change.file, change.line, change.column)
        for change in edition.changes
        if change.part == "choice"
    }
    for question in edition.vocabulary.inputs.values():
        if question.kind != "choice" or question.name not in read:
            continue
        choices = known.get(question.name, set())
        for choice in question.choices:
            if choice.value not in choices and choice.counts_as not in choices:
                found.add(
                    "choice-unknown-to-guard-rails",
                    added.get(f"{question.name} {choice.value}", place),
                    f"The guard rails read `{question.name}` and do not know its choice `{choice.value}`.",
                    f"In the vocabulary, give the choice `counts_as` with one that they know: "
                    f"{word_list(sorted(choices)) or 'none is listed'}.",
                )


def _rail(
    entry: Fields, testable: Names[Testable], arrangements: Names[bool], found: Findings
) -> GuardRail | None:
    rail_id, statement, checks, relation = (
        entry.get(ID),
        entry.get(STATEMENT),
        entry.get(CHECKS),
        entry.get(RELATION),
    )
    if entry.wrote(CHECKS) == entry.wrote(RELATION):
        both = "both `checks` and" if entry.wrote(CHECKS) else "neither `checks` nor"
        message = f"The guard rail has {both} `relation`."
        found.add("rail-demands-nothing", entry.place, message, "Give exactly one of the two.")
    read = [_check(check, testable, arrangements, found) for check in (checks.value if checks else ())]
    if not (rail_id and statement):
        return None
    return GuardRail(
        rail_id.value,
        statement.value,
        tuple(check for check in read if check is not None),
        cast("Relation", relation.value) if relation else None,
    )


def _check(
    entry: Fields, testable: Names[Testable], arrangements: Names[bool], found: Findings
) -> GuardCheck | None:
    node, chosen, require = entry.get(WHEN), entry.get(FOR), entry.get(REQUIRE)
    when = read_condition(node, testable, "`when`", found) if node is not None else ALWAYS
    dispositions = chosen.get(FOR_DISPOSITIONS) if chosen else None
    tiers = chosen.get(FOR_TIERS) if chosen else None
    for_dispositions = distinct(dispositions.value, found) if dispositions else ()
    for_tiers = distinct(tiers.value, found) if tiers else ()
    if require is None or when is None:
        return None
    return GuardCheck(when, for_dispositions, for_tiers, _requirement(require, arrangements, found))


def _requirement(require: Fields, arrangements: Names[bool], found: Findings) -> Requirement:
    if not require.written and require.whole:
        found.add("rail-demands-nothing", require.place, "`require` demands nothing.", "Give what must hold.")
    tier, disposition = require.get(TIER_AT_MOST), require.get(DISPOSITION)
    within, arranged = require.get(REVIEW_WITHIN), require.get(ARRANGED)
    what = arranged.get(WHAT) if arranged else None
    by_when = arranged.get(WITHIN) if arranged else None
    if what:
        arrangements.find(what, found)
    safety_net, no_avoided = require.get(SAFETY_NET), require.get(NO_AVOIDED)
    return Requirement(
        tier_at_most=tier.value if tier else None,
        disposition=disposition.value if disposition else None,
        review_within=within.value if within else None,
        arranged=Arrange(what.value, by_when.value) if what and by_when else None,
        safety_net=bool(safety_net and safety_net.value),
        no_avoided_material=bool(no_avoided and no_avoided.value),
    )
