"""The trace as JSON text: every rule with every test, what was required and what was found.

The text that depends only on the edition is written once, with gaps; a decision fills the gaps.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import assert_never

import orjson

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, Test, ValueTest
from limbtier.domain.decision import TRACE_FORMAT, Trace
from limbtier.engine.prepared import PreparedEdition
from limbtier.use_cases.answer_text import exact_text, required_text

STATES = ("does_not_apply", "undetermined", "applies")
HOLDS = ("no", "undetermined", "yes")
Pick = Callable[[list[bytes]], tuple[bytes, ...]]

_HOLDS_TAIL = tuple(b',"holds":"%b"}' % word.encode() for word in HOLDS)
_STATE_BYTES = tuple(b'"%b"' % word.encode() for word in STATES)


@dataclass(frozen=True, slots=True)
class TraceWriter:
    """Writes traces of one prepared edition. Built once by `trace_writer`."""

    form: bytes
    pick: Pick
    heads: tuple[tuple[str, bytes], ...]

    def write(self, trace: Trace) -> bytes:
        """The trace as JSON text."""
        facts, tests = trace.facts, trace.tests
        actual: dict[str, bytes] = {}
        pieces: list[bytes] = []
        for (name, head), state in zip(self.heads, tests, strict=True):
            text = actual.get(name)
            if text is None:
                text = actual[name] = orjson.dumps(exact_text(facts.get(name)))
            pieces.append(head + text + _HOLDS_TAIL[state])
        pieces += [_STATE_BYTES[state] for state in trace.rules]
        return self.form % self.pick(pieces)


def trace_writer(prepared: PreparedEdition) -> TraceWriter:
    """Write down once what does not depend on a decision."""
    form, pick = _form(prepared)
    return TraceWriter(
        form,
        pick,
        tuple(
            (
                test.name,
                b'{"input":%b,"required":%b,"actual":'
                % (orjson.dumps(test.name), orjson.dumps(required_text(test))),
            )
            for test in prepared.rules.tests
        ),
    )


def _form(prepared: PreparedEdition) -> tuple[bytes, Pick]:
    """The trace with a gap for each state and test, and a function that puts the pieces into the gaps."""
    places = {test: place for place, test in enumerate(prepared.rules.tests)}
    count = len(places)
    order: list[int] = []
    rules = []
    for number, rule in enumerate(prepared.edition.rules):
        order.append(count + number)
        head = {"rule": rule.id, "file": rule.file, "line": rule.line}
        rules.append(
            orjson.dumps(head)[:-1].replace(b"%", b"%%")
            + b',"state":%b,"when":'
            + _gap(rule.when, places, order)
            + b"}"
        )
    form = b'{"format":"%b","rules":[' % TRACE_FORMAT.encode() + b",".join(rules) + b"]}"
    return form, lambda pieces: tuple(pieces[place] for place in order)


def _gap(condition: Condition, places: Mapping[Test, int], order: list[int]) -> bytes:
    match condition:
        case ValueTest() | EdgeTest():
            order.append(places[condition])
            return b"%b"
        case AllOf(parts):
            word = b"all_of"
        case AnyOf(parts):
            word = b"any_of"
        case NoneOf(parts):
            word = b"none_of"
        case _:
            assert_never(condition)
    return b'{"' + word + b'":[' + b",".join(_gap(part, places, order) for part in parts) + b"]}"
