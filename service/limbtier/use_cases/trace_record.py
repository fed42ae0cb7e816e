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

_DOES_NOT_HOLD, _UNDETERMINED, _HOLDS = (b',"%b"' % word.encode() for word in HOLDS)
_STATE_BYTES = tuple(b'"%b"' % word.encode() for word in STATES)
# What a test found, and whether it holds, as JSON text: one for each of `HOLDS`.
Found = tuple[bytes, ...]


def _found(answer: Answer | None) -> Found:
    quoted = orjson.dumps(exact_text(answer))
    return quoted + _DOES_NOT_HOLD, quoted + _UNDETERMINED, quoted + _HOLDS


@dataclass(frozen=True, slots=True)
class TraceWriter:
    """Writes traces of one prepared edition. Built once by `trace_writer`.

    `form` is the text in pieces, every second one a gap. `pick` chooses what fills the gaps, in their order,
    from one list: how each test of the edition reads, how each rule reads. `names` are what the tests read,
    `name_of_test` the place among them for each test. `texts` are the answers that are texts.
    """

    form: tuple[bytes, ...]
    pick: Pick
    names: tuple[str, ...]
    name_of_test: tuple[int, ...]
    texts: Mapping[Answer | None, Found]

    def write(self, trace: Trace) -> bytes:
        """The trace as JSON text."""
        known = self.texts
        found = [
            _found(answer) if answer.__class__ is Fraction else known.get(answer) or _found(answer)
            for answer in map(trace.facts.get, self.names)
        ]
        pieces = [found[place][holds] for place, holds in zip(self.name_of_test, trace.tests, strict=True)]
        pieces += map(_STATE_BYTES.__getitem__, trace.rules)
        text = list(self.form)
        text[1::2] = self.pick(pieces)
        return b"".join(text)


def trace_writer(prepared: PreparedEdition) -> TraceWriter:
    """Write down once what does not depend on a decision."""
    tests = prepared.rules.tests
    names = tuple(dict.fromkeys(test.name for test in tests))
    form = _Form(tests)
    form.text(b'{"format":"%b","rules":[' % TRACE_FORMAT.encode())
    for number, rule in enumerate(prepared.edition.rules):
        form.text(b"," if number else b"")
        form.rule(number, rule)
    form.text(b"]}")
    order = form.order
    return TraceWriter(
        form=tuple(form.pieces),
        pick=itemgetter(*order) if len(order) > 1 else lambda pieces: tuple(pieces[place] for place in order),
        names=names,
        name_of_test=tuple(names.index(test.name) for test in tests),
        texts={
            value: _found(value)
            for entry in prepared.edition.vocabulary.inputs.values()
            for value in (*entry.values(), "yes", "no", NOT_ASKED, None)
        },
    )


class _Form:
    """Text with a gap after each piece but the last, and in `order` which piece of a decision fills it."""

    def __init__(self, tests: Sequence[Test]) -> None:
        self.pieces: list[bytes] = [b""]
        self.order: list[int] = []
        self._test = {test: place for place, test in enumerate(tests)}

    def text(self, text: bytes) -> None:
        """Text that stands in every trace."""
        self.pieces[-1] += text

    def _gap(self, piece: int) -> None:
        self.order.append(piece)
        self.pieces += [b"", b""]

    def rule(self, number: int, rule: Rule) -> None:
        """One rule with all it reads."""
        self.text(orjson.dumps({"rule": rule.id})[:-1] + b',"state":')
        self._gap(len(self._test) + number)
        self.text(b',"when":')
        self._condition(rule.when)
        self.text(b"}")

    def _condition(self, condition: Condition) -> None:
        match condition:
            case ValueTest() | EdgeTest():
                self.text(orjson.dumps([condition.name, required_text(condition)])[:-1] + b",")
                self._gap(self._test[condition])
                self.text(b"]")
                return
            case AllOf(parts):
                word = b"all_of"
            case AnyOf(parts):
                word = b"any_of"
            case NoneOf(parts):
                word = b"none_of"
            case _:
                assert_never(condition)
        self.text(b'{"' + word + b'":[')
        for place, part in enumerate(parts):
            self.text(b"," if place else b"")
            self._condition(part)
        self.text(b"]}")
