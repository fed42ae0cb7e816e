"""Reads `vocabulary.yaml`: inputs, words for measures, derived facts, and what lifts a limit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from limbtier.domain.condition import Condition, names
from limbtier.domain.vocabulary import DerivedFact, Input, Lift, MeasureWords, Vocabulary
from limbtier.measures.registry import MEASURES
from limbtier.rulesets.findings import Findings, Placed
from limbtier.rulesets.names import Names, Testable, distinct
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.read_conditions import read_condition
from limbtier.rulesets.read_inputs import (
    ASKED_WHEN,
    INPUT,
    NAME,
    PLACES,
    TITLE,
    UNIT,
    read_input,
    read_places,
    testable_input,
)
from limbtier.rulesets.records import Fields, Key, ListOf, Record
from limbtier.rulesets.shapes import NameUsed

GOOD_REVIEW: Final = "good_review"
MEASURE: Final = Record("a measure", (NAME, TITLE, UNIT, PLACES))
FACT: Final = Record("a fact", (NAME, TITLE))
LIFT_INPUTS: Final = Key(
    "inputs", ListOf(NameUsed, least=0), "the inputs by whose change the lift shows", required=True
)
LIFT: Final = Record("a lift", (NAME, TITLE, LIFT_INPUTS))

INPUTS: Final = Key("inputs", ListOf(INPUT), "all questions, in the order of a form", required=True)
MEASURE_LIST: Final = Key("measures", ListOf(MEASURE), "words for every computed measure", required=True)
FACTS: Final = Key("facts", ListOf(FACT, least=0), "facts that rules classify", required=True)
LIFTS: Final = Key("lifts", ListOf(LIFT), "what can lift a limit", required=True)
VOCABULARY: Final = Record("the vocabulary", (INPUTS, MEASURE_LIST, FACTS, LIFTS))


@dataclass(slots=True)
class VocabularyRead:
    """The names given, whether or not their entries are sound, and the entries that are."""

    testable: Names[Testable] = field(default_factory=lambda: Names("input, measure or fact"))
    lift_names: Names[tuple[str, ...]] = field(default_factory=lambda: Names("lift"))
    inputs: dict[str, Input] = field(default_factory=dict)
    measures: dict[str, MeasureWords] = field(default_factory=dict)
    facts: dict[str, DerivedFact] = field(default_factory=dict)
    lifts: dict[str, Lift] = field(default_factory=dict)

    def vocabulary(self) -> Vocabulary:
        """The entries that could be read."""
        return Vocabulary(self.inputs, self.measures, self.facts, self.lifts)


def read_vocabulary(root: Node | None, found: Findings) -> VocabularyRead:
    """Everything of the file that can be used; `root` is None when the file could not be read at all."""
    read = VocabularyRead()
    fields = VOCABULARY.read(root, "The file", found) if root is not None else None
    if fields is None:
        read.testable.complete = read.lift_names.complete = False
        return read
    inputs, measures = fields.get(INPUTS), fields.get(MEASURE_LIST)
    facts, lifts = fields.get(FACTS), fields.get(LIFTS)
    read.testable.complete = all(
        group is not None and nothing_lost(group) for group in (inputs, measures, facts)
    )
    order = give_inputs(inputs.value if inputs else (), read, found)
    _give_measures(measures.value if measures else (), read, found)
    if measures and nothing_lost(measures):
        _compare_with_registry(measures, read, found)
    give_facts(facts.value if facts else (), read, found)
    read_asked_when(order, (), read, found)
    read.lift_names.complete = lifts is not None and nothing_lost(lifts)
    for entry in lifts.value if lifts else ():
        read_lift(entry, read, found)
    return read


def give_facts(entries: Sequence[Fields], read: VocabularyRead, found: Findings) -> list[Placed[str]]:
    """Records every fact by name; returns the names that are new."""
    new = []
    for entry in entries:
        name, title = entry.get(NAME), entry.get(TITLE)
        if name is None:
            continue
        if read.testable.give(name, Testable(name.value, "words", True, ("yes", "no"), "fact"), found):
            new.append(name)
            if title:
                read.facts[name.value] = DerivedFact(name.value, title.value)
    return new


def nothing_lost(entries: Placed[tuple[Fields, ...]]) -> bool:
    """Whether every entry of the list has a name that could be read."""
    return not entries.lost and all(entry.get(NAME) is not None for entry in entries.value)


def give_inputs(entries: Sequence[Fields], read: VocabularyRead, found: Findings) -> list[tuple[Fields, str]]:
    """Records every input by name; returns those whose `asked_when` is still to be read."""
    order: list[tuple[Fields, str]] = []
    for entry in entries:
        found_before = len(found)
        made = read_input(entry, found)
        name = entry.get(NAME)
        if name is None:
            continue
        if read.testable.give(name, testable_input(name.value, entry, made), found):
            order.append((entry, name.value))
            if made is not None and len(found) == found_before:
                read.inputs[name.value] = made
    return order


def _give_measures(entries: Sequence[Fields], read: VocabularyRead, found: Findings) -> None:
    registry: Names[bool] = Names("measure")
    registry.known = {measure.name: True for measure in MEASURES}
    kinds = {measure.name: measure for measure in MEASURES}
    for entry in entries:
        name, title, unit = entry.get(NAME), entry.get(TITLE), entry.get(UNIT)
        places = read_places(entry, found)
        if name is None:
            continue
        measure = kinds.get(name.value)
        if measure is None:
            registry.find(name, found)
            testable = Testable(name.value, None, False, (), "measure")
        elif measure.kind == "choice":
            testable = Testable(name.value, "words", False, measure.choices, "measure")
        else:
            testable = Testable(name.value, "number", False, ("not_done",), "measure")
        if read.testable.give(name, testable, found) and title:
            read.measures[name.value] = MeasureWords(
                name.value, title.value, unit.value if unit else None, places
            )


def _compare_with_registry(
    entries: Placed[tuple[Fields, ...]], read: VocabularyRead, found: Findings
) -> None:
    """Every measure that is computed has its words here, and its ingredients are asked."""
    given = {name.value: name for entry in entries.value if (name := entry.get(NAME))}
    for measure in MEASURES:
        if measure.name not in given:
            message = f"The measure `{measure.name}` has no words here."
            found.add("measure-without-words", entries.place, message, f"Add an entry for `{measure.name}`.")
            continue
        if not read.testable.complete:
            continue
        for ingredient in measure.ingredients:
            known = read.testable.known.get(ingredient)
            computed = any(other.name == ingredient for other in MEASURES)
            if not computed and (known is None or not known.is_input):
                message = f"`{measure.name}` is computed from `{ingredient}`, which is no input here."
                advice = f"Add the input `{ingredient}`."
                found.add("measure-ingredient-missing", given[measure.name].place, message, advice)


def read_asked_when(
    order: list[tuple[Fields, str]], before: Iterable[str], read: VocabularyRead, found: Findings
) -> None:
    """Conditions of questions: they read only earlier inputs, and those of a person only the person's.
    `before` are the inputs that stand before all of these."""
    earlier = set(before)
    for entry, name in order:
        node = entry.get(ASKED_WHEN)
        if node is not None:
            condition = read_condition(node, read.testable, "`asked_when`", found)
            if condition is None:
                read.inputs.pop(name, None)
            else:
                _check_asked_when(condition, read.testable.known[name], node, earlier, read, found)
                if name in read.inputs:
                    read.inputs[name] = replace(read.inputs[name], asked_when=condition)
        earlier.add(name)


def _check_asked_when(
    condition: Condition,
    asked: Testable,
    node: Node,
    earlier: set[str],
    read: VocabularyRead,
    found: Findings,
) -> None:
    for name in sorted(names(condition)):
        other = read.testable.known[name]
        if name not in earlier:
            message = f"`{asked.name}` depends on `{name}`, which is not asked before it."
            advice = "Read only inputs that stand earlier in the list."
            found.add("asked-when-order", node.place, message, advice)
        elif asked.scope == "person" and other.scope == "limb":
            message = f"`{asked.name}` is asked of the person, but `{name}` is answered for a limb."
            advice = f"Read only inputs of the person, or give `{asked.name}` the scope `limb`."
            found.add("asked-when-scope", node.place, message, advice)


def read_lift(entry: Fields, read: VocabularyRead, found: Findings) -> None:
    """Records one lift by name."""
    name, title, used = entry.get(NAME), entry.get(TITLE), entry.get(LIFT_INPUTS)
    if used:
        for word in used.value:
            known = read.testable.find(word, found)
            if known is not None and not known.is_input:
                message = f"`{word.value}` is no input, and a lift shows by a change of answers."
                found.add("not-an-input", word.place, message, "Name the inputs from which it is computed.")
        if not used.value and used.whole and name and name.value != GOOD_REVIEW:
            message = "A lift needs at least one input."
            found.add("empty-list", used.place, message, "Name the inputs by whose change it shows.")
    inputs = distinct(used.value, found) if used else ()
    all_known = used is not None and used.whole and all(word in read.testable.known for word in inputs)
    sure = inputs if all_known else ()
    if name and read.lift_names.give(name, sure, found) and title:
        read.lifts[name.value] = Lift(name.value, title.value, inputs)
