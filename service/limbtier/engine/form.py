"""A form that is being filled in: what is open now, and what would be open after one answer more.

This only orders and counts questions. What is answered is decided by `decide`, never here.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from datetime import date
from itertools import chain
from typing import Any, NamedTuple

from limbtier.domain.assessment import Answer, Answers, Side
from limbtier.domain.condition import ALWAYS, names
from limbtier.domain.vocabulary import Scope
from limbtier.engine.answer_classes import AnswerClasses
from limbtier.engine.open_questions import OpenLeg, OpenQuestions
from limbtier.engine.prepared import PreparedEdition, inputs_behind
from limbtier.measures.registry import MEASURES, compute_measures

Key = tuple[str, Side | None]
"""One question: the input, and the leg it is asked about; None for the person."""


class FormReader:
    """Reads forms of one edition; built once, shared by all threads."""

    def __init__(self, prepared: PreparedEdition) -> None:
        self.prepared = prepared
        self.open = OpenQuestions(prepared)
        self.classes = AnswerClasses(prepared)
        inputs = prepared.edition.vocabulary.inputs
        self.person = self.open.bits(name for name, entry in inputs.items() if entry.scope == "person")
        self.children: dict[str, list[str]] = {}
        for name, entry in inputs.items():
            for parent in names(entry.asked_when or ALWAYS):
                self.children.setdefault(parent, []).append(name)
        self.measured = frozenset().union(*[measure.ingredients for measure in MEASURES])
        sources = inputs_behind(prepared.edition)
        self.step_inputs = self.open.bits(
            chain.from_iterable(sources.get(name, ()) for name in prepared.step_names)
        )
        self.starting_points = {
            name: (_typed(prepared, start.person, "person"), _typed(prepared, start.limb, "limb"))
            for name, start in prepared.edition.starting_points.items()
        }

    def of_person(self, name: str) -> bool:
        """Whether an input is about the person."""
        return self.prepared.edition.vocabulary.inputs[name].scope == "person"


def _typed(prepared: PreparedEdition, given: Mapping[str, Any], scope: Scope) -> Answers:
    """The answers of a starting point, which loading has checked."""
    return prepared.answers.read(given, scope, (), None)[0]


class _Leg(NamedTuple):
    """One leg as it is read: its answers with those not asked, its measures, what is open, and whether its
    answers contradict one another."""

    facts: dict[str, Answer]
    answered: int
    open: OpenLeg
    contradicted: bool


class Form:
    """Answers so far, without those not asked, and what they leave open. Never changed."""

    def __init__(
        self,
        reader: FormReader,
        person: Answers,
        limbs: Mapping[Side, Answers],
        day: date,
        legs: Mapping[Side, _Leg] | None = None,
    ) -> None:
        self.reader = reader
        self.person = person
        self.limbs = limbs
        self.day = day
        self._period = max(bisect_right(reader.prepared.periods.starts, day) - 1, 0)
        self._legs = legs or {side: self._read(person, limb) for side, limb in limbs.items()}
        self.open = {side: leg.open for side, leg in self._legs.items()}

    def count(self) -> int:
        """How many questions are open: one of the person once, one of a leg for each leg."""
        return self._count(self.open)

    def _count(self, legs: Mapping[Side, OpenLeg]) -> int:
        person = total = 0
        for leg in legs.values():
            person |= leg.inputs
            total += (leg.inputs & ~self.reader.person).bit_count()
        return total + (person & self.reader.person).bit_count()

    def is_open(self, key: Key) -> bool:
        """Whether the answer to a question could still move the outcome."""
        bit = self.reader.open.bits([key[0]])
        return any(leg.inputs & bit for side, leg in self.open.items() if key[1] in (None, side))

    def facts(self, side: Side | None) -> Answers:
        """Answers and measures of a leg, `not_asked` filled in; of any leg, where only the person's count."""
        return (next(iter(self._legs.values())) if side is None else self._legs[side]).facts

    def answered(self, side: Side) -> int:
        """The inputs of a leg that are answered, or not asked; a bit each."""
        return self._legs[side].answered

    def after(self, key: Key, answer: Answer) -> tuple[int, dict[Side, OpenLeg]] | None:
        """How many questions would be open after one answer more, and what of each leg; None where the answer
        contradicts one that was given."""
        legs: dict[Side, OpenLeg] = {}
        for side in self.limbs:
            leg = self._legs[side].open if key[1] not in (None, side) else self._after(side, key, answer)
            if leg is None:
                return None
            legs[side] = leg
        return self._count(legs), legs

    def with_answer(self, key: Key, answer: Answer) -> Form:
        """The form with one answer more."""
        name, side = key
        if side is None:
            return Form(self.reader, {**self.person, name: answer}, self.limbs, self.day)
        limb = {**self.limbs[side], name: answer}
        legs = {**self._legs, side: self._read(self.person, limb)}
        return Form(self.reader, self.person, {**self.limbs, side: limb}, self.day, legs)

    def without(self, keys: frozenset[Key]) -> Form:
        """The form with some answers taken back."""
        sides = {side for _, side in keys}
        person = {name: answer for name, answer in self.person.items() if (name, None) not in keys}
        limbs: dict[Side, Answers] = {}
        legs: dict[Side, _Leg] = {}
        for side, limb in self.limbs.items():
            limbs[side] = {name: answer for name, answer in limb.items() if (name, side) not in keys}
            touched = None in sides or side in sides
            legs[side] = self._read(person, limbs[side]) if touched else self._legs[side]
        return Form(self.reader, person, limbs, self.day, legs)

    def _after(self, side: Side, key: Key, answer: Answer) -> OpenLeg | None:
        reader, leg, name = self.reader, self._legs[side], key[0]
        if name in reader.children:
            person = {**self.person, name: answer} if key[1] is None else self.person
            limb = self.limbs[side] if key[1] is None else {**self.limbs[side], name: answer}
            read = self._read(person, limb)
            return None if read.contradicted else read.open
        facts = {**leg.facts, name: answer}
        if name in reader.measured:
            numbers = reader.prepared.periods.values[self._period].numbers
            facts.update(compute_measures(facts, self.day, numbers))
        return self._open(facts, leg.answered | reader.open.bits([name]))

    def _read(self, person: Answers, limb: Answers) -> _Leg:
        prepared = self.reader.prepared
        of_person, of_limb = dict(person), dict(limb)
        contradictions = prepared.answers.complete(of_person, "person", {}, ())
        contradictions += prepared.answers.complete(of_limb, "limb", of_person, ())
        facts = {**of_person, **of_limb}
        answered = self.reader.open.bits(facts)
        facts.update(compute_measures(facts, self.day, prepared.periods.values[self._period].numbers))
        return _Leg(facts, answered, self._open(facts, answered), bool(contradictions))

    def _open(self, facts: dict[str, Answer], answered: int) -> OpenLeg:
        states, _, derived = self.reader.prepared.rules.read(facts)
        return self.reader.open.of_leg({**facts, **derived}, answered, states, self._period)
