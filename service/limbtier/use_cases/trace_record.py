"""The trace as JSON text: every rule with every test, what was required and what was found.

A test is a list of four texts: what was read, what was required, what was found, whether the test holds.
The text that depends only on the edition is written once, with gaps; a decision fills the gaps.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from operator import itemgetter
from typing import assert_never

import orjson

from limbtier.domain.assessment import Answer
from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, Test, ValueTest
from limbtier.domain.decision import TRACE_FORMAT, Trace
from limbtier.domain.rule import Rule
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.answer_states import NOT_ASKED
from limbtier.use_cases.answer_text import exact_text, required_text

STATES = ("does_not_apply", "undetermined", "applies")
HOLDS = ("no", "undetermined", "yes")
Pick = Callable[[list[bytes]], tuple[bytes, ...]]

_HOLDS_BYTES = tuple(b'"%b"' % word.encode() for word in HOLDS)
_STATE_BYTES = tuple(b'"%b"' % word.encode() for word in STATES)


def _quoted(answer: Answer | None) -> bytes:
    """An answer as JSON text; the usual kinds without a detour."""
    if isinstance(answer, str):
        return b'"%b"' % answer.encode()
    if isinstance(answer, Fraction) and answer.denominator == 1:
        return b'"%d"' % answer.numerator
    return orjson.dumps(exact_text(answer))


@dataclass(frozen=True, slots=True)
class TraceWriter:
    """Writes traces of one prepared edition. Built once by `trace_writer`.

    `form` is the trace with gaps. `pick` chooses what fills them, in their order, from one list: the answer
    to each of `names`, how each test of the edition reads, how each rule reads. `texts` are the answers that
    are texts, as JSON.
    """

    form: bytes
    pick: Pick
    names: tuple[str, ...]
    texts: Mapping[Answer | None, bytes]

    def write(self, trace: Trace) -> bytes:
        """The trace as JSON text."""
        known = self.texts
        pieces = [
            known.get(answer) or _quoted(answer) if answer.__class__ is str else _quoted(answer)
            for answer in map(trace.facts.get, self.names)
        ]
        pieces += map(_HOLDS_BYTES.__getitem__, trace.tests)
        pieces += map(_STATE_BYTES.__getitem__, trace.rules)
        return self.form % self.pick(pieces)


def trace_writer(prepared: PreparedEdition) -> TraceWriter:
    """Write down once what does not depend on a decision."""
    form = _Form(prepared.rules.tests)
    rules = b",".join(form.rule(number, rule) for number, rule in enumerate(prepared.edition.rules))
    order = form.order
    return TraceWriter(
        form=b'{"format":"%b","rules":[' % TRACE_FORMAT.encode() + rules + b"]}",
        pick=itemgetter(*order) if len(order) > 1 else lambda pieces: (pieces[order[0]],),
        names=form.names,
        texts={
            value: _quoted(value)
            for entry in prepared.edition.vocabulary.inputs.values()
            for value in (*entry.values(), "yes", "no", NOT_ASKED)
        },
    )


class _Form:
    """Writes text with gaps, and notes in `order` which piece belongs into each gap."""

    def __init__(self, tests: Sequence[Test]) -> None:
        self.order: list[int] = []
        self.names = tuple(dict.fromkeys(test.name for test in tests))
        self._name = {name: place for place, name in enumerate(self.names)}
        self._test = {test: len(self.names) + place for place, test in enumerate(tests)}
        self._rule = len(self.names) + len(tests)

    def rule(self, number: int, rule: Rule) -> bytes:
        self.order.append(self._rule + number)
        return _literal({"rule": rule.id})[:-1] + b',"state":%b,"when":' + self._condition(rule.when) + b"}"

    def _condition(self, condition: Condition) -> bytes:
        match condition:
            case ValueTest() | EdgeTest():
                self.order += (self._name[condition.name], self._test[condition])
                head = [condition.name, required_text(condition)]
                return _literal(head)[:-1] + b",%b,%b]"
            case AllOf(parts):
                word = b"all_of"
            case AnyOf(parts):
                word = b"any_of"
            case NoneOf(parts):
                word = b"none_of"
            case _:
                assert_never(condition)
        return b'{"' + word + b'":[' + b",".join(self._condition(part) for part in parts) + b"]}"


def _literal(value: object) -> bytes:
    """JSON text that stands in the form as it is."""
    return orjson.dumps(value).replace(b"%", b"%%")
