"""Which rules apply and which are undetermined, read a second time by a forward-chaining network.

The interpreter is the definition; this reading shares no code with it and must name the same rules. The
network (durable-rules, a C library) has hard edges that were measured one by one, and this is the only module
that touches it. One ruleset, one session, one fact at a time: assert the fact, drain what fires, retract the
fact. All rules fire as one action, and a sentinel, defined last, fires after it and proves that the drain was
complete. Every answer is read back in full; on any fault the ruleset is thrown away, since the library leaves
traces of a broken drain behind, and the decision is repeated once on a new one.
"""

from __future__ import annotations

import itertools
import logging
import threading
import weakref
from collections.abc import Mapping, Sequence
from contextlib import suppress
from operator import add

import durable_rules_engine as library  # type: ignore[import-not-found]  # C module of durable-rules, no stubs

from limbtier.domain.assessment import Answer
from limbtier.domain.rule import Rule
from limbtier.engine.matcher_network import FRAME, GUARD, SENTINEL, SENTINEL_ALIAS, Network
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import EnginesDisagree

log = logging.getLogger("limbtier.matcher")

_IDENTITY = '{"sid":"0","id":"0"'
_RETRACTION = _IDENTITY + "}"
_FRAME_START = f'{{"{FRAME}":['
_FIRST_ALIAS = len(_FRAME_START) + 2
_HANDLED = 0
_POSSIBLE_AND_APPLIES = bytes([0, 1, 255, 2]) + bytes(252)
_APPLIES_ONLY = 255
_numbers = itertools.count(1)


class _Fault(Exception):
    """The library did not answer as it must."""


class _Ruleset:
    """One ruleset of the library, given back by `free` or when this object goes."""

    def __init__(self, definition: str) -> None:
        self.handle: int = library.create_ruleset(f"limbtier-{next(_numbers)}", definition)
        self.drained_once: list[bool] = []
        self.free = weakref.finalize(self, _free, self.handle, self.drained_once)
        self.free.atexit = False


def _free(handle: int, drained_once: list[bool]) -> None:
    """Give all memory back. The ruleset does not free its session, so that goes first; but a session in which
    nothing ever fired is left behind, because the library would free memory that it never set."""
    with suppress(Exception):
        if drained_once:
            library.delete_state(handle, "0")
        library.delete_ruleset(handle)


class Matcher:
    """Reads all rules of one edition for one assessment at a time.

    For one thread at a time (`MatcherPool` sees to that). Raises InvalidRuleFiles when the rules pass a limit
    of the network, and EnginesDisagree when the network fails twice on the same facts.
    """

    def __init__(self, rules: Sequence[Rule] | Network) -> None:
        self._network = rules if isinstance(rules, Network) else Network(rules)
        self._in_use = threading.Lock()
        self._ruleset: _Ruleset | None = None
        self.match({})

    def match(self, facts: Mapping[str, Answer]) -> bytes:
        """One byte for each rule, in the given order: 0 does not apply, 1 undetermined, 2 applies."""
        message = f'{_IDENTITY},"{GUARD}":1{self._network.encoding.write(facts)}}}'
        if not self._in_use.acquire(blocking=False):
            raise RuntimeError("A Matcher serves one thread at a time; use MatcherPool.")
        try:
            return self._twice(message)
        finally:
            self._in_use.release()

    def _twice(self, message: str) -> bytes:
        try:
            return self._once(message)
        except Exception:  # whatever went wrong, a new ruleset is the only safe ground
            log.warning("matcher fault: the decision is repeated on a new ruleset", exc_info=True)
        try:
            return self._once(message)
        except Exception as fault:
            raise EnginesDisagree(
                [
                    Diagnostic(
                        "matcher-fault",
                        f"The matcher failed twice on the same facts: {type(fault).__name__}: {fault}",
                        "No answer is given for this assessment; keep it, and report the fault.",
                    )
                ]
            ) from fault

    def _once(self, message: str) -> bytes:
        """One decision; the ruleset is kept only if it went well to the end."""
        ruleset, self._ruleset = self._ruleset, None
        if ruleset is None:
            ruleset = _Ruleset(self._network.definition)
        try:
            found = self._drained(ruleset, message)
            states = found.to_bytes(self._network.count, "little").translate(_POSSIBLE_AND_APPLIES)
            if _APPLIES_ONLY in states:
                raise _Fault("a rule applies that is not possible")
        except BaseException:
            ruleset.free()
            raise
        self._ruleset = ruleset
        return states

    def _drained(self, ruleset: _Ruleset, message: str) -> int:
        handle = ruleset.handle
        outcome, session = library.assert_fact(handle, message)
        if outcome != _HANDLED:
            raise _Fault(f"the fact was answered with {outcome}")
        started = library.start_action_for_state(handle, session)
        if started is None:
            raise _Fault("nothing fired")
        ruleset.drained_once[:] = [True]
        answer: str | None = started[1]
        found = 0
        if answer is not None and answer.startswith(_FRAME_START):
            found = self._said(answer, message)
            answer = library.complete_and_start_action(handle, session)
        if answer != f'{{"{SENTINEL}":{{"{SENTINEL_ALIAS}":{message}}}}}':
            raise _Fault("the sentinel did not fire")
        if library.complete_and_start_action(handle, session) is not None:
            raise _Fault("something fired after the sentinel")
        if library.retract_fact(handle, _RETRACTION)[0] != _HANDLED:
            raise _Fault("the fact was not retracted")
        return found

    def _said(self, answer: str, message: str) -> int:
        """What all entries that fired say together. The answer repeats the message for each of them, so it
        can be written again from the aliases alone and must come out the same."""
        width = len(message) + 8
        aliases = list(map(add, answer[_FIRST_ALIAS::width], answer[_FIRST_ALIAS + 1 :: width]))
        between = f'":{message}}},{{"'
        if answer != f'{_FRAME_START}{{"{between.join(aliases)}":{message}}}]}}':
            raise _Fault("the answer is not about this message")
        entries = self._network.entries
        found = 0
        for alias in aliases:
            found |= entries[alias]
        return found


class MatcherPool:
    """Matchers of one edition for any number of threads; each is used by one thread at a time.

    The library never lets two threads run at once, so there are only as many matchers as were ever needed
    together, and the rules are compiled once.
    """

    def __init__(self, rules: Sequence[Rule]) -> None:
        self._network = Network(rules)
        self._idle = [Matcher(self._network)]

    def match(self, facts: Mapping[str, Answer]) -> bytes:
        """As `Matcher.match`."""
        try:
            matcher = self._idle.pop()
        except IndexError:
            matcher = Matcher(self._network)
        try:
            return matcher.match(facts)
        finally:
            self._idle.append(matcher)
