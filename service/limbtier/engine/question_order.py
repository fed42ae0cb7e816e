"""In which order a form asks its open questions: danger signs first, then whatever can settle most.

What an answer would settle is found by looking ahead with one answer of each class. The order is advice, and
never leaves a question out.
"""

from __future__ import annotations

from typing import NamedTuple

from limbtier.domain.condition import names
from limbtier.engine.form import Form, Key
from limbtier.engine.interpreter import APPLIES, truth


class OpenQuestion(NamedTuple):
    """An open question. `after` are unanswered inputs that say whether it is asked at all; with none of these
    it can be asked now. `most` and `least` are how many of the open questions an answer closes, itself among
    them; 0 where it cannot be asked yet."""

    key: Key
    after: tuple[str, ...]
    most: int
    least: int


def ordered(form: Form) -> list[OpenQuestion]:
    """Every open question: first those that can be asked now, in the best order, then the others in the order
    of the vocabulary."""
    inputs = form.reader.prepared.edition.vocabulary.inputs
    place = form.reader.prepared.input_order
    before = form.count()
    ranked: list[tuple[tuple[bool, int, int, int], OpenQuestion]] = []
    waiting: list[OpenQuestion] = []
    for key in open_keys(form):
        entry = inputs[key[0]]
        after = asked_after(form, key)
        if after:
            waiting.append(OpenQuestion(key, after, 0, 0))
            continue
        looks = [form.after(key, answer) for answer in form.reader.classes.of(key[0], form.day)]
        closed = [before - look[0] for look in looks if look is not None] or [1]
        most, mean = max(closed), 1000 * sum(closed) // len(closed)
        rank = (not entry.danger_sign, -most, -mean, place[key[0]])
        ranked.append((rank, OpenQuestion(key, (), most, min(closed))))
    ranked.sort(key=lambda item: item[0])
    return [question for _, question in ranked] + waiting


def open_keys(form: Form) -> list[Key]:
    """Every open question, in the order of the vocabulary; one of the person once."""
    keys: dict[Key, None] = {}
    for side, leg in form.open.items():
        for name in form.reader.open.names(leg.inputs):
            keys[name, None if form.reader.of_person(name) else side] = None
    place = form.reader.prepared.input_order
    return sorted(keys, key=lambda key: place[key[0]])


def asked_after(form: Form, key: Key) -> tuple[str, ...]:
    """The unanswered inputs that say whether a question is asked; none when it is asked for certain."""
    condition = form.reader.prepared.edition.vocabulary.inputs[key[0]].asked_when
    facts = form.facts(key[1])
    if condition is None or truth(condition, facts) == APPLIES:
        return ()
    return tuple(sorted(name for name in names(condition) if name not in facts))
