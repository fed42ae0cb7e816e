"""What may be asked and computed: inputs, measures, derived facts, and what lifts a limit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from limbtier.domain.condition import Condition

Scope = Literal["person", "limb"]
InputKind = Literal["flag", "choice", "whole_number", "number", "date", "number_series"]


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer of a choice. `counts_as` names an existing choice where a local edition adds one."""

    value: str
    meaning: str
    counts_as: str | None = None


@dataclass(frozen=True, slots=True)
class Range:
    """Edges of a number, both included; None is open."""

    at_least: Fraction | None = None
    at_most: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Input:
    """One question. `range` refuses, `expected` only warns; `places` is the most decimals accepted."""

    name: str
    scope: Scope
    kind: InputKind
    question: str
    help: str
    group: str
    unit: str | None
    choices: tuple[Choice, ...]
    may_be_not_done: bool
    range: Range
    expected: Range
    places: int
    asked_when: Condition | None
    danger_sign: bool

    def values(self) -> tuple[str, ...]:
        """Every text value an answer may take, `not_done` included where it may be."""
        texts: tuple[str, ...] = ()
        if self.kind == "flag":
            texts = ("yes", "no")
        elif self.kind == "choice":
            texts = tuple(choice.value for choice in self.choices)
        return (*texts, "not_done") if self.may_be_not_done else texts


@dataclass(frozen=True, slots=True)
class MeasureWords:
    """How a computed measure is called and shown; how it is computed is in `measures`."""

    name: str
    title: str
    unit: str | None
    places: int


@dataclass(frozen=True, slots=True)
class DerivedFact:
    """A named fact, `yes` or `no`, that rules classify."""

    name: str
    title: str


@dataclass(frozen=True, slots=True)
class Lift:
    """What can lift a limit: its words, and the inputs by whose change it shows."""

    name: str
    title: str
    inputs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """All names an edition may use."""

    inputs: Mapping[str, Input]
    measures: Mapping[str, MeasureWords]
    facts: Mapping[str, DerivedFact]
    lifts: Mapping[str, Lift]

    def of_scope(self, scope: Scope) -> tuple[Input, ...]:
        """The inputs of a person or of one limb, in the order written."""
        return tuple(entry for entry in self.inputs.values() if entry.scope == scope)
