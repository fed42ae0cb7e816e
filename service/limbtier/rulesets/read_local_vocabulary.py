"""Reads `vocabulary.yaml` of an edition that is based on another. It only adds: whatever the base asks,
computes and classifies keeps its name and its meaning, because guard rails and callers rely on it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from limbtier.domain.condition import ValueTest, tests
from limbtier.domain.rule import Rule
from limbtier.domain.vocabulary import Choice
from limbtier.rulesets.changes import WHY, Changes
from limbtier.rulesets.findings import Findings, Place, Placed
from limbtier.rulesets.given_names import testable_of, testable_of_input
from limbtier.rulesets.names import Names
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.read_inputs import CHOICE, COUNTS_AS, INPUT, MEANING, NAME, VALUE
from limbtier.rulesets.read_local_lists import refuse_empty
from limbtier.rulesets.read_vocabulary import (
    FACT,
    LIFT,
    VocabularyRead,
    give_facts,
    give_inputs,
    nothing_lost,
    read_asked_when,
    read_lift,
)
from limbtier.rulesets.records import Fields, Key, ListOf, Record
from limbtier.rulesets.shapes import NameUsed, word_list

INPUTS: Final = Key("inputs", ListOf(Record("an input", (*INPUT.keys, *WHY))), "further questions")
OF_INPUT: Final = Key("input", NameUsed, "the input of the base", required=True)
NEW_CHOICES: Final = Key("choices", ListOf(CHOICE), "its further choices", required=True)
CHOICES: Final = Key(
    "choices",
    ListOf(Record("further choices", (OF_INPUT, NEW_CHOICES, *WHY))),
    "further choices of inputs of the base",
)
FACTS: Final = Key("facts", ListOf(FACT), "further facts that rules classify")
LIFTS: Final = Key("lifts", ListOf(LIFT), "what else can lift a limit")
LOCAL_VOCABULARY: Final = Record("the vocabulary", (INPUTS, CHOICES, FACTS, LIFTS))

_STAYS: Final = (
    "The base is never renamed, narrowed or redefined: take another name; an input gets further answers "
    "under `choices`."
)


def read_local_vocabulary(root: Node | None, changes: Changes, found: Findings) -> VocabularyRead:
    """The vocabulary of the base with what the file adds."""
    read = _vocabulary_of_base(changes)
    if root is None:
        return read
    fields = LOCAL_VOCABULARY.read(root, "The file", found)
    refuse_empty(fields, found)
    if fields is None:
        read.testable.complete = read.lift_names.complete = False
        return read
    inputs, facts, lifts = fields.get(INPUTS), fields.get(FACTS), fields.get(LIFTS)
    groups = ((INPUTS, inputs), (FACTS, facts))
    read.testable.complete = all(
        nothing_lost(group) if group else not fields.wrote(key) for key, group in groups
    )
    read.lift_names.complete = nothing_lost(lifts) if lifts else not fields.wrote(LIFTS)
    of_base = tuple(read.inputs)
    order = give_inputs(inputs.value if inputs else (), read, found)
    for entry, _ in order:
        if name := entry.get(NAME):
            changes.added("input", name, entry)
    choices = fields.get(CHOICES)
    for entry in choices.value if choices else ():
        _add_choices(entry, of_base, read, changes, found)
    if fields.wrote(CHOICES) and (choices is None or choices.lost):
        _leave_open(of_base, read)
    for name in give_facts(facts.value if facts else (), read, found):
        changes.added("fact", name)
    read_asked_when(order, of_base, read, found)
    for entry in lifts.value if lifts else ():
        read_lift(entry, read, found)
        name = entry.get(NAME)
        if name and name.value in read.lift_names.places:
            changes.added("lift", name)
    return read


def _vocabulary_of_base(changes: Changes) -> VocabularyRead:
    base = changes.base
    vocabulary = base.vocabulary
    testable = testable_of(base)
    testable.base, testable.instead = base.id, _STAYS
    lifts = {name: lift.inputs for name, lift in vocabulary.lifts.items()}
    return VocabularyRead(
        testable=testable,
        lift_names=Names("lift", lifts, base=base.id, instead="Take another name; a lift of the base stays."),
        inputs=dict(vocabulary.inputs),
        measures=dict(vocabulary.measures),
        facts=dict(vocabulary.facts),
        lifts=dict(vocabulary.lifts),
    )


def _add_choices(
    entry: Fields, of_base: Iterable[str], read: VocabularyRead, changes: Changes, found: Findings
) -> None:
    """Further answers of one input of the base."""
    name, listed = entry.get(OF_INPUT), entry.get(NEW_CHOICES)
    if name is None:
        _leave_open(of_base, read)
        return
    if not read.testable.of_base(name, found):
        return
    if listed is None:
        _leave_open([name.value], read)
        return
    asked = read.inputs.get(name.value)
    if asked is None or asked.kind != "choice" or name.value not in of_base:
        message = f"`{name.value}` is no input of the base with choices."
        found.add("key-not-for-kind", name.place, message, "Name one, or add an input of your own.")
        return
    known: Names[bool] = Names("choice", base=changes.base.id)
    known.instead = f"Take another word; the choices that `{name.value}` has stay as they are."
    known.known = dict.fromkeys(asked.values(), True)
    added: list[Choice] = []
    for choice in listed.value:
        value, meaning, counts_as = choice.get(VALUE), choice.get(MEANING), choice.get(COUNTS_AS)
        if counts_as:
            known.of_base(counts_as, found)
        if value and known.give(value, True, found) and meaning:
            added.append(Choice(value.value, meaning.value, counts_as.value if counts_as else None))
            changes.added("choice", Placed(f"{name.value} {value.value}", value.place), entry)
    wider = replace(asked, choices=(*asked.choices, *added))
    read.inputs[name.value] = wider
    read.testable.known[name.value] = testable_of_input(wider)
    if not listed.whole:
        _leave_open([name.value], read)


def _leave_open(inputs: Iterable[str], read: VocabularyRead) -> None:
    """Where further choices could not be read, no answer of these inputs is called unknown."""
    for name in inputs:
        known = read.testable.known[name]
        if known.entry is not None and known.entry.kind == "choice":
            read.testable.known[name] = replace(known, testing=None, values=(), entry=None)


def check_choices_tested(rules: Sequence[Rule], changes: Changes, found: Findings) -> None:
    """Name a new choice that no rule tests: rules of the base that test its input would pass it over."""
    tested: dict[str, list[tuple[ValueTest, Rule]]] = {}
    for rule in rules:
        for test in tests(rule.when):
            if isinstance(test, ValueTest):
                tested.setdefault(test.name, []).append((test, rule))
    for change in changes.made:
        if change.part != "choice":
            continue
        name, value = change.name.split(" ")
        of_input = tested.get(name, [])
        if of_input and not any(value in test.values for test, _ in of_input):
            readers = sorted({rule.id for _, rule in of_input})
            message = f"No rule tests `{value}`, so whoever answers it meets no rule on `{name}`."
            advice = f"Add a rule, or replace one of {word_list(readers[:12])}."
            found.add("choice-not-tested", Place(change.file, change.line, change.column), message, advice)
