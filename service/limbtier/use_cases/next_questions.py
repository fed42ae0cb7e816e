"""What a form should ask next: beside the preview of its answers so far, which questions can still change
anything, in which order to ask them, and which no longer matter.

Only the order, and the shortest set, are advice found by looking ahead. That a question no longer matters is
read from the decision itself: no rule that is still undetermined, and nothing else, hangs on it.
"""

from __future__ import annotations

from typing import Any, Final

import orjson

from limbtier.domain.assessment import Answers, Assessment, Side
from limbtier.domain.decision import Decision
from limbtier.domain.vocabulary import Input
from limbtier.engine.form import Form, FormReader, Key
from limbtier.engine.further_questions import Change, further_inputs
from limbtier.engine.prepared import PreparedEdition
from limbtier.engine.question_order import OpenQuestion, ordered
from limbtier.engine.shortest_set import ShortestSet, shortest_set
from limbtier.foundation.answer_states import NOT_ASKED
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.follow_up import FollowUps

NOTE: Final = (
    "A question that no longer matters changes no tier, target, disposition, review, arrangement, material, "
    "caution, instruction or step, whatever is answered to it and to all others. The order of the questions, "
    "and the shortest set, are found by looking ahead with ordinary answers; other answers may need more."
)


class FormQuestions:
    """Previews with the next questions. What is worked out of an edition is kept while it is in use."""

    def __init__(self, decider: Decider, follow_ups: FollowUps | None = None) -> None:
        """`follow_ups` complete contacts of episodes."""
        self._decider = decider
        self._follow_ups = follow_ups
        self._readers: dict[str, FormReader] = {}

    def preview(self, body: bytes, organisation: str | None = None) -> bytes:
        """The preview of a form that is being filled in, with the member `next_questions`. A leg may have no
        answer yet. With an `organisation`, what is known of its episode is filled in. Raises as
        `Decider.preview`, and StoreUnavailable."""
        member: bytes | None = None
        known = None
        if self._follow_ups is not None and organisation is not None:
            known = self._follow_ups.known(body, organisation)
        if self._follow_ups is None or known is None:
            decision, writer = self._decider.decision(body, form=True)
        else:
            decision, writer, member = self._follow_ups.previewed(body, known, form=True)
        found = next_questions(self._reader(writer.prepared), decision)
        record = writer.write(decision, None, body, None, member)
        return record[:-1] + b',"next_questions":' + orjson.dumps(found) + b"}"

    def _reader(self, prepared: PreparedEdition) -> FormReader:
        reader = self._readers.get(prepared.edition.id)
        if reader is None or reader.prepared is not prepared:
            reader = self._readers[prepared.edition.id] = FormReader(prepared)
        return reader


def form_of(reader: FormReader, assessment: Assessment) -> Form:
    """The answers of an assessment as a form."""
    limbs = {side: _given(answers) for side, answers in assessment.limbs.items()}
    return Form(reader, _given(assessment.person), limbs, assessment.assessed_on)


def next_questions(reader: FormReader, decision: Decision) -> dict[str, Any]:
    """The next questions of a decision, as a record."""
    form = form_of(reader, decision.assessment)
    order = ordered(form)
    further = _further(form, decision)
    asked = {question.key for question in order} | further.keys()
    inputs = reader.prepared.edition.vocabulary.inputs
    return {
        "further_questions": [
            {**_words(inputs[key[0]], key), "changes": sorted(changes)}
            for key, changes in sorted(further.items(), key=lambda item: not inputs[item[0][0]].danger_sign)
        ],
        "no_longer_matter": [_name(key) for key in _unanswered(form) if key not in asked],
        "note": NOTE,
        "questions": [_question(inputs[question.key[0]], question) for question in order],
        "shortest_set": _shortest(shortest_set(form, order)),
    }


def _given(answers: Answers) -> Answers:
    return {name: answer for name, answer in answers.items() if answer != NOT_ASKED}


def _unanswered(form: Form) -> list[Key]:
    """Every question without an answer, each of a leg for each leg, in the order of the vocabulary."""
    found: list[Key] = []
    for name in form.reader.prepared.edition.vocabulary.inputs:
        sides: tuple[Side | None, ...] = (None,) if form.reader.of_person(name) else tuple(form.limbs)
        found += [(name, side) for side in sides if name not in form.facts(side)]
    return found


def _further(form: Form, decision: Decision) -> dict[Key, set[Change]]:
    """The unanswered questions that are not open and could still change a part of the decision."""
    reader = form.reader
    settings = reader.prepared.periods.on(form.day)
    parts = {side: further_inputs(reader, limb, settings) for side, limb in decision.limbs.items()}
    found: dict[Key, set[Change]] = {}
    for key in _unanswered(form):
        bit = reader.open.bits([key[0]])
        if form.is_open(key):
            continue
        for side, changes in parts.items():
            if key[1] in (None, side):
                for change, inputs in changes.items():
                    if inputs & bit:
                        found.setdefault(key, set()).add(change)
    return found


def _name(key: Key) -> dict[str, Any]:
    return {"input": key[0], "limb": key[1]}


def _words(entry: Input, key: Key) -> dict[str, Any]:
    return {
        "danger_sign": entry.danger_sign,
        "group": entry.group,
        "question": entry.question,
        **_name(key),
    }


def _question(entry: Input, question: OpenQuestion) -> dict[str, Any]:
    settles = None if question.after else {"at_least": question.least, "at_most": question.most}
    return {**_words(entry, question.key), "after": question.after, "settles": settles}


def _shortest(found: ShortestSet | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "questions": [_name(key) for key in found.questions],
        "starting_point": found.starting_point,
        "tiers": dict(found.tiers),
    }
