"""What all proofs about one edition in one period share: its formulas, a solver, and the engine to replay."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from functools import cached_property

from limbtier.engine.in_force import InForce
from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.proofs.encoding import Encoding, edges_by_name, encode
from limbtier.governance.proofs.formulas import Formula
from limbtier.governance.proofs.replay import CannotReplay, Replayed, Replayer, in_words
from limbtier.governance.proofs.requests import Domain, Request
from limbtier.governance.proofs.session import MILLISECONDS, Found, NoneFound, NotSettled, Session
from limbtier.governance.proofs.verdict import Counterexample, Inconclusive, Proved, Statement, Verdict
from limbtier.governance.proofs.witness import Answers, Moment
from limbtier.governance.proofs.witness import in_words as answers_in_words
from limbtier.governance.proofs.worked_case import BROKEN, worked_case
from limbtier.measures.working_days import WorkingCalendar

# Whether the engine, too, shows the breach for these answers: what it decided, or None.
Confirm = Callable[[Answers], Sequence[Replayed] | None]


@dataclass(slots=True)
class Clock:
    """Seconds since it was made."""

    _start: float = field(default_factory=time.perf_counter)

    def seconds(self) -> float:
        """Seconds so far."""
        return time.perf_counter() - self._start


class Workbench:
    """One edition with the settings of one period; what is proved holds for every day of that period."""

    def __init__(
        self,
        prepared: PreparedEdition,
        calendars: Mapping[str, WorkingCalendar],
        period: int = 0,
        milliseconds: int = MILLISECONDS,
    ) -> None:
        self.prepared = prepared
        self.edition = prepared.edition
        self.calendars = calendars
        self.settings: InForce = prepared.periods.values[period]
        self.days = days_of_period(prepared, period)
        self.replayer = Replayer(prepared, calendars)
        self.domain = Domain(edges=tuple(volume_edges(prepared)))
        self.request: Request = {
            name: self.domain.answer(entry) for name, entry in self.edition.vocabulary.inputs.items()
        }
        self.encoding = self.encode(self.request)
        self.session = Session(self.domain, milliseconds)
        self.session.require(*self.encoding.accepted)

    def encode(self, request: Request) -> Encoding:
        """The edition over another request."""
        return encode(self.edition, self.settings, request, self.domain)

    @cached_property
    def moments(self) -> tuple[Moment, ...]:
        """Days to replay on, the plainest first."""
        return tuple(self.replayer.moments(*self.days))

    def replay(self, answers: Answers) -> Replayed:
        """Decided by the engine on the plainest day of the period. Raises CannotReplay."""
        if not self.moments:
            raise CannotReplay("no calendar reaches the period in which these settings hold")
        return self.replayer.decide(answers, self.moments[0])

    def settle(
        self, statement: Statement, breach: Formula, confirm: Confirm, *, whole: bool = False
    ) -> Verdict:
        """Whether any request breaks a statement. One that does is decided by the engine, and then reduced to
        the answers it takes, unless it must stay `whole`."""
        clock = Clock()
        answer = self.session.find(breach, few=None if whole else self.request)
        match answer:
            case NoneFound():
                return Proved(statement, clock.seconds())
            case NotSettled(reason):
                return Inconclusive(statement, clock.seconds(), reason)
            case Found():
                return self.shown(statement, answer, confirm, clock, whole=whole)

    def shown(
        self, statement: Statement, found: Found, confirm: Confirm, clock: Clock, *, whole: bool = False
    ) -> Counterexample | Inconclusive:
        """The counterexample, if the engine shows it too."""
        answers = found.answers(self.request)
        try:
            replayed = confirm(answers)
        except CannotReplay as error:
            return Inconclusive(statement, clock.seconds(), _disagrees(found, str(error)))
        if replayed is None:
            return Inconclusive(statement, clock.seconds(), _disagrees(found, "the engine does not show it"))
        if not whole:
            replayed = confirm(shrunk(answers, confirm)) or replayed
        return self.counterexample(statement, replayed, clock)

    def counterexample(
        self, statement: Statement, replayed: Sequence[Replayed], clock: Clock
    ) -> Counterexample:
        """From what the engine decided: one request, or the two that a statement compares."""
        first, after = replayed[0], replayed[1] if len(replayed) > 1 else None
        words = list(answers_in_words(self.edition.vocabulary, first.answers))
        says = list(in_words(first))
        if after is not None:
            words += ["Then: " + change for change in self._changes(first.answers, after.answers)]
            says += ["Then: " + line for line in in_words(after)]
        return Counterexample(
            statement,
            clock.seconds(),
            first.request,
            None if after is None else after.request,
            tuple(words),
            tuple(says),
            worked_case(self.edition, statement.id, f"Broken: {statement.sentence}", BROKEN, replayed[-1]),
        )

    def _changes(self, before: Answers, after: Answers) -> Iterator[str]:
        inputs = self.edition.vocabulary.inputs
        for name, entry in inputs.items():
            if name in before and name not in after:
                yield f"`{entry.question}` is no longer answered."
            elif name in after and before.get(name) != after[name]:
                yield answers_in_words(self.edition.vocabulary, {name: after[name]})[0]


def shrunk(answers: Answers, confirm: Confirm) -> Answers:
    """The answers that a counterexample takes: without any one of them the engine no longer shows it."""
    kept = dict(answers)
    again = True
    while again:
        again = False
        for name in reversed(list(kept)):
            fewer = {other: answer for other, answer in kept.items() if other != name}
            try:
                still = confirm(fewer)
            except CannotReplay:
                still = None
            if still is not None:
                kept, again = fewer, True
    return kept


def days_of_period(prepared: PreparedEdition, period: int) -> tuple[date, date | None]:
    """The first day of a period, and the first day after it."""
    starts = prepared.periods.starts
    return starts[period], starts[period + 1] if period + 1 < len(starts) else None


def volume_edges(prepared: PreparedEdition) -> Sequence[Fraction]:
    """The edges that rules compare a change of volume with."""
    edges = edges_by_name([rule.when for rule in prepared.edition.rules])
    return edges.get("limb_volume_change_percent", ())


def _disagrees(found: Found, why: str) -> str:
    if not found.exact:
        return f"the solver's values of a measure may be none that its ingredients can give ({why})"
    return f"the encoding disagrees with the engine, which is a fault of limbtier ({why})"
