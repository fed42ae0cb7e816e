"""The questions of an edition as a form: groups, items and when each is asked, as FHIR arranges them.

The questionnaire is written from this tree, and answers are read by it, so the two cannot drift apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby
from typing import Final, Literal

from limbtier.domain.assessment import SIDES
from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.vocabulary import Input, Vocabulary
from limbtier.foundation.answer_states import NOT_DONE

ItemType = Literal["group", "boolean", "choice", "integer", "decimal", "date"]
Operator = Literal["=", "!=", ">", "<", ">=", "<="]
CALENDAR: Final = "contact.calendar"


@dataclass(frozen=True, slots=True)
class Target:
    """Where an answer belongs in an assessment. `not_done`: the item only says that it was not done."""

    place: tuple[str, ...]
    entry: Input
    not_done: bool = False

    @property
    def steps(self) -> tuple[str, ...]:
        """The steps of the answer in the assessment."""
        return (*self.place, self.entry.name)


@dataclass(frozen=True, slots=True)
class EnableWhen:
    """One test of another item's answer: a flag, the code of a choice, or a number."""

    item: Item
    operator: Operator
    answer: bool | str | Fraction


@dataclass(frozen=True, slots=True)
class Item:
    """A group or a question. A question has a target, except for the calendar."""

    link_id: str
    text: str
    type: ItemType
    items: tuple[Item, ...] = ()
    target: Target | None = None
    repeats: bool = False
    enable_when: tuple[EnableWhen, ...] = ()
    enable_all: bool = False

    def __hash__(self) -> int:
        return hash(self.link_id)


@dataclass(frozen=True, slots=True)
class Form:
    """The groups of a form, and all its items by link id."""

    groups: tuple[Item, ...]
    by_link_id: Mapping[str, Item] = field(init=False)

    def __post_init__(self) -> None:
        items = {item.link_id: item for item in _every(self.groups)}
        object.__setattr__(self, "by_link_id", items)


def form_of(vocabulary: Vocabulary) -> Form:
    """The form of a vocabulary: the contact, the person, and each leg with the same questions."""
    calendar = Item(CALENDAR, "Whose working days count for due dates?", "choice")
    groups = [Item("contact", "The contact", "group", (calendar,))]
    known: dict[str, Item] = {}
    person = _groups("person", ("person",), vocabulary.of_scope("person"), known)
    groups.append(Item("person", "The person", "group", person))
    for side in SIDES:
        legs = _groups(side, ("limbs", side), vocabulary.of_scope("limb"), dict(known))
        groups.append(Item(side, f"The {side} leg", "group", legs))
    return Form(tuple(groups))


def not_done_link(link_id: str) -> str:
    """The link id of the item that says that a question could not be answered."""
    return f"{link_id}.{NOT_DONE}"


def _every(items: Iterable[Item]) -> Iterator[Item]:
    for item in items:
        yield item
        yield from _every(item.items)


def _groups(
    prefix: str, place: tuple[str, ...], inputs: Sequence[Input], known: dict[str, Item]
) -> tuple[Item, ...]:
    """Groups of questions under their headings. `known` are the questions that conditions may name."""
    for entry in inputs:
        for item in _questions(f"{prefix}.{entry.name}", place, entry):
            known[item.link_id.removeprefix(f"{prefix}.")] = item
    by_heading = groupby(inputs, key=lambda entry: entry.group)
    found: list[Item] = []
    for number, (heading, entries) in enumerate(by_heading, start=1):
        items = [item for entry in entries for item in _asked(prefix, entry, known)]
        found.append(Item(f"{prefix}.group.{number}", heading, "group", tuple(items)))
    return tuple(found)


def _questions(link_id: str, place: tuple[str, ...], entry: Input) -> Iterator[Item]:
    yield Item(link_id, entry.question, _type(entry), (), Target(place, entry), entry.kind == "number_series")
    if entry.may_be_not_done and entry.kind != "choice":
        text = f"Not done: {entry.question}"
        yield Item(not_done_link(link_id), text, "boolean", (), Target(place, entry, not_done=True))


def _type(entry: Input) -> ItemType:
    match entry.kind:
        case "flag":
            return "boolean"
        case "choice":
            return "choice"
        case "date":
            return "date"
        case "whole_number":
            return "integer"
        case "number" | "number_series":
            return "decimal"


def _asked(prefix: str, entry: Input, known: Mapping[str, Item]) -> list[Item]:
    """The items of an input, each with the condition under which it is asked.

    FHIR joins the tests of one item either all by `and` or all by `or`; where a condition needs both, groups
    without a question of their own carry the further parts.
    """
    items = [known[name] for name in (entry.name, f"{entry.name}.{NOT_DONE}") if name in known]
    clauses = _clauses(entry.asked_when, known) if entry.asked_when is not None else []
    if not clauses:
        return items
    single = [clause[0] for clause in clauses if len(clause) == 1]
    if len(single) == len(clauses):
        return [_enabled(item, single, every=True) for item in items]
    wrapped = [_enabled(item, clauses[-1], every=False) for item in items]
    for number, clause in enumerate(reversed(clauses[:-1]), start=1):
        group = Item(f"{prefix}.{entry.name}.when.{number}", entry.group, "group", tuple(wrapped))
        wrapped = [_enabled(group, clause, every=False)]
    return wrapped


def _enabled(item: Item, tests: Sequence[EnableWhen], *, every: bool) -> Item:
    return Item(
        item.link_id,
        item.text,
        item.type,
        item.items,
        item.target,
        item.repeats,
        tuple(tests),
        enable_all=every,
    )


def _clauses(condition: Condition, known: Mapping[str, Item]) -> list[list[EnableWhen]]:
    """The condition as lists that must all hold, each a list of tests of which one must hold. A part that
    cannot be said so is left out: the question is then shown more often than it is asked."""
    match condition:
        case ValueTest(name, values):
            return [[_value_test(known, name, value, "=") for value in values]]
        case EdgeTest():
            return [[test] for test in _edge_tests(known, condition)]
        case AllOf(parts):
            return [clause for part in parts for clause in _clauses(part, known)]
        case NoneOf(parts):
            return [[test] for part in parts for test in _negated(part, known)]
        case AnyOf(parts):
            alternatives = [_clauses(part, known) for part in parts]
            if any(len(clauses) != 1 for clauses in alternatives):
                return []
            return [[test for clauses in alternatives for test in clauses[0]]]


def _negated(condition: Condition, known: Mapping[str, Item]) -> list[EnableWhen]:
    match condition:
        case ValueTest(name, values):
            return [_value_test(known, name, value, "!=") for value in values]
        case AnyOf(parts):
            return [test for part in parts for test in _negated(part, known)]
        case AllOf((part,)):
            return _negated(part, known)
        case _:
            return []


def _value_test(known: Mapping[str, Item], name: str, value: str, operator: Operator) -> EnableWhen:
    item = known[name]
    if value == NOT_DONE and item.type != "choice":
        return EnableWhen(known[f"{name}.{NOT_DONE}"], operator, answer=True)
    if item.type == "boolean":
        return EnableWhen(item, operator, answer=value == "yes")
    return EnableWhen(item, operator, value)


def _edge_tests(known: Mapping[str, Item], test: EdgeTest) -> list[EnableWhen]:
    edges: tuple[tuple[Operator, Fraction | None], ...] = (
        (">=", test.at_least),
        (">", test.above),
        ("<=", test.at_most),
        ("<", test.below),
    )
    return [EnableWhen(known[test.name], operator, edge) for operator, edge in edges if edge is not None]
