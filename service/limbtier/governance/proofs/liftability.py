"""That what a limit waits for can lift it: for every assessment that it holds, some answers would end it."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

import z3

from limbtier.domain.rule import Rule
from limbtier.domain.vocabulary import Input
from limbtier.engine.interpreter import APPLIES, DOES_NOT_APPLY
from limbtier.engine.step_up_plan import GOOD_REVIEW
from limbtier.governance.proofs.changed_requests import dependents
from limbtier.governance.proofs.encoding import encode_rule
from limbtier.governance.proofs.formulas import Formula, all_of, negated
from limbtier.governance.proofs.replay import CannotReplay, Replayed
from limbtier.governance.proofs.requests import Answered, Request, SentAnswer
from limbtier.governance.proofs.session import Found, NoneFound, NotSettled
from limbtier.governance.proofs.terms import unsupported
from limbtier.governance.proofs.verdict import Inconclusive, Proved, Statement, Verdict
from limbtier.governance.proofs.witness import Answers
from limbtier.governance.proofs.workbench import Clock, Workbench

FAMILY: Final = "lifting"
# Inputs by which a good review shows, for a vocabulary that names none.
_GOOD_REVIEW: Final = ("current_tier", "current_tier_since", "tolerance")
_MOST_ROUNDS: Final = 60
_MOST_TRIED: Final = 60
_TRIED_AGAIN: Final = 12
# Days that may pass until a good review, tried by the engine.
_DAYS_PASSED: Final = (0, 1, 30)


def prove_lifting(bench: Workbench) -> Iterator[Verdict]:
    """A verdict for each limit of the edition that something can lift."""
    for rule in bench.edition.rules:
        if rule.then.limit is not None and rule.then.limit.until is not None:
            yield prove_limit_lifts(bench, rule)


def lift_statement(rule: Rule, until: str) -> Statement:
    """What is to be proved of one limit."""
    sentence = f"Whenever `{rule.id}` holds a leg, some answers to what `{until}` names end its limit."
    return Statement(f"{rule.id}-lifts", FAMILY, sentence)


def prove_limit_lifts(bench: Workbench, rule: Rule) -> Verdict:
    """For every assessment in which the limit applies there are answers to the inputs of its lift with which
    it does not, all other answers unchanged; a question that is then no longer asked loses its answer.

    Answers that lift it for one assessment are tried on all others; what they leave over is searched anew.
    """
    limit = rule.then.limit
    if limit is None or limit.until is None:
        raise ValueError(f"the rule {rule.id} has no limit that something could lift")
    clock, statement = Clock(), lift_statement(rule, limit.until)
    lift = _Lift(bench, rule, limit.until)
    first: tuple[Answers, Answers] | None = None
    for _ in range(_MOST_ROUNDS):
        held = bench.session.find(lift.applies, *(negated(formula) for formula in lift.tried))
        if isinstance(held, NoneFound):
            return _proved(bench, rule, statement, clock, first)
        if isinstance(held, NotSettled):
            return Inconclusive(statement, clock.seconds(), held.reason)
        answers = held.answers(bench.request)
        with bench.session.supposing(*bench.domain.pinned(bench.request, answers)):
            lifted = bench.session.find(lift.lifted)
        match lifted:
            case NotSettled(reason):
                return Inconclusive(statement, clock.seconds(), reason)
            case NoneFound():
                confirm = _Stuck(bench, rule, lift)
                return bench.shown(statement, held, confirm, clock)
            case Found():
                first = first or (answers, lift.answers(lifted))
                lift.learn(lifted)
    return Inconclusive(statement, clock.seconds(), f"not settled after {_MOST_ROUNDS} ways to lift it")


def _proved(
    bench: Workbench, rule: Rule, statement: Statement, clock: Clock, first: tuple[Answers, Answers] | None
) -> Verdict:
    """Proved, once the engine has shown it for one pair of assessments."""
    if first is None:
        return Proved(statement, clock.seconds(), "the rule applies in no assessment")
    try:
        states = [_state(bench, rule, bench.replay(answers)) for answers in first]
    except CannotReplay as error:
        return Inconclusive(statement, clock.seconds(), f"the encoding disagrees with the engine ({error})")
    if states != [APPLIES, DOES_NOT_APPLY]:
        return Inconclusive(statement, clock.seconds(), "the encoding disagrees with the engine")
    return Proved(statement, clock.seconds())


class _Lift:
    """The formulas of one limit: that it applies, and that it does not with other answers to its lift."""

    def __init__(self, bench: Workbench, rule: Rule, until: str) -> None:
        lift = bench.edition.vocabulary.lifts.get(until)
        if lift is None:
            raise unsupported(f"`{until}` is no lift of the vocabulary.", rule.file, rule.line)
        self.inputs = lift.inputs or tuple(
            name for name in _GOOD_REVIEW if name in bench.edition.vocabulary.inputs
        )
        self.applies = bench.encoding.rule(rule.id).surely
        self._fresh = {
            name: bench.domain.answer(bench.request[name].entry, " once lifted") for name in self.inputs
        }
        # A good review is a later one: every other date has passed by as many days.
        self.passes = until == GOOD_REVIEW
        self._days = z3.Int("days passed")
        later = {
            name: replace(sent, value=sent.value + self._days) if sent.entry.kind == "date" else sent
            for name, sent in bench.request.items()
        }
        request = {**(later if self.passes else bench.request), **self._fresh}
        dropped = dependents(bench.edition.vocabulary, self.inputs).difference(self.inputs)
        after = encode_rule(bench.edition, bench.settings, request, bench.domain, rule, dropped)
        self._request: Request = after.request
        known = {id_of(formula) for formula in bench.encoding.accepted}
        accepted = [formula for formula in after.accepted if id_of(formula) not in known]
        if self.passes:
            accepted.append(self._days >= 0)
        self.lifted: Formula = all_of((*accepted, negated(after.truth.possibly)))
        self.tried: list[Formula] = []

    def answers(self, found: Found) -> Answers:
        """The answers with which the limit has ended."""
        return found.answers(self._request)

    def learn(self, found: Found) -> None:
        """Try the answers that lifted the limit here on every other assessment."""
        free = [self._days, *(one for sent in self._fresh.values() for one in variables(sent))]
        values = [(one, found.model.eval(one, model_completion=True)) for one in free]
        lifted = self.lifted
        self.tried.append(lifted if isinstance(lifted, bool) else z3.substitute(lifted, *values))


def variables(sent: SentAnswer) -> list[Formula]:
    """The variables of the solver in one answer."""
    found = [sent.absent, *sent.words.values()]
    found += [] if sent.given is False else [sent.given, sent.value]
    found += [] if sent.series is None else [sent.series.length, sent.series.square_sum]
    return found


def id_of(formula: Formula) -> object:
    """What tells formulas apart."""
    return formula if isinstance(formula, bool) else formula.get_id()


class _Stuck:
    """Whether the engine finds no way either, among all choices and the edges of numbers."""

    def __init__(self, bench: Workbench, rule: Rule, lift: _Lift) -> None:
        self._bench, self._rule = bench, rule
        inputs = bench.edition.vocabulary.inputs
        self._ways: list[list[Answered | None]] = [_answers_to(inputs[name]) for name in lift.inputs]
        self._inputs = lift.inputs
        self._most = _MOST_TRIED
        self._dates = [name for name, entry in inputs.items() if entry.kind == "date"]
        self._passed = _DAYS_PASSED if lift.passes else (0,)

    def __call__(self, answers: Answers) -> Sequence[Replayed] | None:
        """The decision in which the limit applies, when nothing that was tried ends it."""
        held = self._bench.replay(answers)
        if _state(self._bench, self._rule, held) != APPLIES:
            return None
        ways = itertools.product(*self._ways)
        pairs = itertools.product(self._passed, ways)
        for passed, way in itertools.islice(pairs, self._most):
            others: Mapping[str, Answered | None] = dict(zip(self._inputs, way, strict=True))
            later = {
                name: value + passed if name in self._dates and isinstance(value, int) else value
                for name, value in answers.items()
            }
            given = {name: value for name, value in {**later, **others}.items() if value is not None}
            try:
                replayed = self._bench.replay(given)
            except CannotReplay:
                continue
            if _state(self._bench, self._rule, replayed) == DOES_NOT_APPLY:
                return None
        self._most = _TRIED_AGAIN  # enough while answers are only left out
        return (held,)


def _answers_to(entry: Input) -> list[Answered | None]:
    answers: list[Answered | None] = [*entry.values(), None]
    if entry.kind == "date":
        answers += [0, 1, 30, 400]
    elif entry.kind in ("whole_number", "number"):
        low, high = entry.range.at_least or Fraction(0), entry.range.at_most
        answers += [low, (low + high) // 2, high] if high is not None else [low]
    return answers


def _state(bench: Workbench, rule: Rule, replayed: Replayed) -> int:
    place = [one.id for one in bench.edition.rules].index(rule.id)
    return replayed.decision.trace.rules[place]
