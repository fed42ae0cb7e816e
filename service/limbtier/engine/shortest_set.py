"""The shortest set of questions found that can settle an ordinary contact.

Ordinary answers are those of the edition's starting points, which its worked cases begin from, with every day
in them taken as today. Answers are then taken back for as long as the rest still settles everything. So no
question of the set can be left out; whether another set is shorter is not searched.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from limbtier.domain.assessment import Answer, Answers, Side
from limbtier.engine.decide import tier_now
from limbtier.engine.form import Form, FormReader, Key
from limbtier.engine.open_questions import CURRENT_TIER
from limbtier.engine.question_order import OpenQuestion, asked_after
from limbtier.engine.tiers import WITHHOLD


class ShortestSet(NamedTuple):
    """The questions, in the order of the vocabulary, the starting point whose answers settle them, and the
    tier that each leg then has."""

    starting_point: str
    questions: tuple[Key, ...]
    tiers: Mapping[Side, str]


def shortest_set(form: Form, order: Sequence[OpenQuestion]) -> ShortestSet | None:
    """The set of the starting point that settles the form by fewest answers. None when none of them settles
    it: compression is withheld already, say. `order` are the open questions of the form, in the order they
    are asked in."""
    settled = list(_settled(form, order))
    if not settled:
        return None
    name, full = min(settled, key=lambda one: len(_added(form, one[1])))
    least = _taken_back(form, full)
    names = form.reader.prepared.tier_names
    tiers = {side: names[leg.tiers.given] for side, leg in least.open.items()}
    return ShortestSet(name, tuple(_added(form, least)), tiers)


def _settled(form: Form, order: Sequence[OpenQuestion]) -> Iterator[tuple[str, Form]]:
    """For each starting point that settles the form above withholding, the form as it then is."""
    for name, (person, limb) in form.reader.starting_points.items():
        if _may_be_ordinary(form, limb.get(CURRENT_TIER)):
            full = _filled(form, _of_today(person, form.day), _of_today(limb, form.day), order)
            if not full.count() and all(leg.tiers.given > WITHHOLD for leg in full.open.values()):
                yield name, full


def _may_be_ordinary(form: Form, current_tier: Answer | None) -> bool:
    """Whether nothing is on the leg in a starting point, wherever the form does not say what is."""
    reader = form.reader
    said = all(CURRENT_TIER in limb for limb in form.limbs.values())
    on = None if current_tier is None else tier_now(reader.prepared, {CURRENT_TIER: current_tier})
    return said or on == WITHHOLD


def _of_today(answers: Answers, today: date) -> dict[str, Answer]:
    return {name: today if isinstance(answer, date) else answer for name, answer in answers.items()}


def _filled(form: Form, person: Answers, limb: Answers, order: Sequence[OpenQuestion]) -> Form:
    """Open questions answered one by one, as long as any is open: as given, or else by whichever answer
    leaves least open and withholds nothing. Those that cannot be asked yet have their turn later."""
    waiting = [question.key for question in order]
    while waiting:
        later: list[Key] = []
        for key in waiting:
            if not form.is_open(key):
                continue
            if asked_after(form, key):
                later.append(key)
                continue
            answer = (person if key[1] is None else limb).get(key[0])
            if answer is None or _contradicts(form, key, answer):
                answer = _least_open(form, key)
            form = form.with_answer(key, answer)
        if len(later) == len(waiting):
            break
        waiting = later
    return form


def _contradicts(form: Form, key: Key, answer: Answer) -> bool:
    return key[0] in form.reader.children and form.after(key, answer) is None


def _least_open(form: Form, key: Key) -> Answer:
    answers = list(form.reader.classes.of(key[0], form.day))
    return min(answers, key=lambda answer: _left_open(form, key, answer))


def _left_open(form: Form, key: Key, answer: Answer) -> tuple[bool, int]:
    look = form.after(key, answer)
    if look is None:
        return True, form.count()
    return any(leg.tiers.highest == WITHHOLD for leg in look[1].values()), look[0]


def _taken_back(form: Form, full: Form) -> Form:
    """Some answers of `full` taken back, none of which was in `form`; no further one can be."""
    for key in reversed(_added(form, full)):
        answers = full.person if key[1] is None else full.limbs[key[1]]
        if key[0] in answers:
            fewer = full.without(_with_children(full.reader, key, full))
            if not fewer.count():
                full = fewer
    return full


def _added(form: Form, full: Form) -> list[Key]:
    """The questions answered in `full` and not in `form`, in the order of the vocabulary."""
    keys: list[Key] = [(name, None) for name in full.person if name not in form.person]
    keys += [(name, side) for side in full.limbs for name in full.limbs[side] if name not in form.limbs[side]]
    place = form.reader.prepared.input_order
    return sorted(keys, key=lambda key: place[key[0]])


def _with_children(reader: FormReader, key: Key, form: Form) -> frozenset[Key]:
    """A question, and those that are asked only by its answer."""
    found = {key}
    for child in reader.children.get(key[0], ()):
        sides = (None,) if reader.of_person(child) else (key[1],) if key[1] else tuple(form.limbs)
        for side in sides:
            found |= _with_children(reader, (child, side), form)
    return frozenset(found)
