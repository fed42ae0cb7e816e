"""Statements about two decisions: a danger sign turned on, an answer withdrawn."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

import z3

from limbtier.domain.rule import GuardRail
from limbtier.governance.proofs.changed_requests import Changed, changed
from limbtier.governance.proofs.encoding import Encoding
from limbtier.governance.proofs.formulas import Formula, all_of, any_of, either, exactly_one, negated
from limbtier.governance.proofs.guard_rails import guard_rail_statement
from limbtier.governance.proofs.outcome import not_above, not_later
from limbtier.governance.proofs.replay import Replayed
from limbtier.governance.proofs.requests import same_answer, withdrawn
from limbtier.governance.proofs.session import Found, NoneFound, NotSettled
from limbtier.governance.proofs.terms import unsupported
from limbtier.governance.proofs.verdict import Inconclusive, Proved, Statement, Verdict
from limbtier.governance.proofs.witness import Answers
from limbtier.governance.proofs.workbench import Clock, Workbench


def prove_relation(bench: Workbench, rail: GuardRail) -> Verdict:
    """A guard rail that compares two decisions."""
    prove = _RELATIONS.get(rail.relation or "")
    if prove is None:
        raise unsupported(
            f"The guard rail `{rail.id}` has the relation {rail.relation}, which has no formula."
        )
    return prove(bench, guard_rail_statement(rail))


def _withdrawing(bench: Workbench, statement: Statement) -> Verdict:
    """Any answers are withdrawn, as many as may be; one at a time follows, and a breach comes down to one."""
    clock = Clock()
    chosen = {name: z3.Bool(f"{name}: withdrawn") for name in bench.request}
    after = bench.encode(withdrawn(bench.request, chosen))
    with bench.session.supposing(*after.accepted):
        answer = bench.session.find(_worse(bench.encoding, after), few=bench.request)
    if isinstance(answer, NoneFound):
        return Proved(statement, clock.seconds())
    if isinstance(answer, NotSettled):
        return Inconclusive(statement, clock.seconds(), answer.reason)
    before = answer.answers(bench.request)
    gone = [name for name in before if answer.holds(chosen[name])]
    return bench.shown(statement, answer, _Withdrawn(bench, gone), clock)


class _Withdrawn:
    """Whether the engine, too, finds it worse without one of the answers, those before it being withdrawn
    already; the first that shows it is the one withdrawn from then on."""

    def __init__(self, bench: Workbench, gone: Sequence[str]) -> None:
        self._bench, self._gone = bench, gone
        self._before: Sequence[str] = ()

    def __call__(self, answers: Answers) -> Sequence[Replayed] | None:
        left = {name: answer for name, answer in answers.items() if name not in self._before}
        for place, name in enumerate(self._gone):
            if name not in left:
                continue
            fewer = {other: answer for other, answer in left.items() if other != name}
            pair = _replayed_worse(self._bench, left, fewer)
            if pair is not None:
                self._before, self._gone = (*self._before, *self._gone[:place]), (name,)
                return pair
            left = fewer
        return None


def _worse(before: Encoding, after: Encoding) -> Formula:
    return negated(
        all_of((not_above(after.outcome, before.outcome), not_later(after.outcome, before.outcome)))
    )


def _replayed_worse(bench: Workbench, before: Answers, after: Answers) -> Sequence[Replayed] | None:
    """Both decided by the engine, when the second has the higher tier or the later review."""
    one, other = bench.replay(before), bench.replay(after)
    rank = bench.prepared.ranks
    raised = rank[other.decision.tier] > rank[one.decision.tier]
    delayed = other.decision.review.within_hours > one.decision.review.within_hours
    return (one, other) if raised or delayed else None


def _danger_sign(bench: Workbench, statement: Statement) -> Verdict:
    """One danger sign goes from no to yes. What is asked only then is not answered, or is answered so that
    the danger sign is not ruled out: one that is treated and well is none."""
    clock = Clock()
    signs = [entry.name for entry in bench.edition.vocabulary.inputs.values() if entry.danger_sign]
    for name in signs:
        if bench.edition.vocabulary.inputs[name].kind != "flag":
            raise unsupported(f"The danger sign `{name}` is no question of yes or no.")
    if signs and "danger_sign" not in bench.edition.vocabulary.facts:
        raise unsupported("The vocabulary has danger signs, but no fact `danger_sign`.")
    turned = changed(bench, signs, " once turned on")
    chosen = {name: z3.Bool(f"{name} is turned on") for name in signs}
    one_turned: list[Formula] = exactly_one(list(chosen.values())) if signs else [False]
    for name, is_it in chosen.items():
        before, after = bench.request[name], turned.request[name]
        from_no_to_yes = all_of((before.words["no"], after.words["yes"]))
        one_turned.append(either(is_it, from_no_to_yes, same_answer(before, after)))
    silent = (
        any_of((negated(bench.encoding.not_asked[name]), turned.request[name].absent))
        for name in turned.asked_by_it
    )
    not_ruled_out = negated(turned.encoding.terms["danger_sign"].word("no")) if signs else True
    meant = (*turned.allowed, *one_turned, any_of((not_ruled_out, all_of(silent))))
    with bench.session.supposing(*meant):
        answer = bench.session.find(_worse(bench.encoding, turned.encoding), few=bench.request)
    if isinstance(answer, NoneFound):
        return Proved(statement, clock.seconds())
    if isinstance(answer, NotSettled):
        return Inconclusive(statement, clock.seconds(), answer.reason)
    name = next(name for name, is_it in chosen.items() if answer.holds(is_it))
    return bench.shown(statement, answer, _TurnedOn(bench, name, answer, turned), clock)


class _TurnedOn:
    """Whether the engine, too, finds it worse once the danger sign is there."""

    def __init__(self, bench: Workbench, name: str, found: Found, turned: Changed) -> None:
        self._bench, self._name = bench, name
        before, self._after = found.answers(bench.request), found.answers(turned.request)
        self._other = {name for name, value in self._after.items() if before.get(name) != value}
        self._gone = before.keys() - self._after.keys()

    def __call__(self, answers: Answers) -> Sequence[Replayed] | None:
        """Both decisions, when the second is worse."""
        if answers.get(self._name) != "no":
            return None
        after = {name: value for name, value in answers.items() if name not in self._gone}
        after |= {name: self._after[name] for name in self._other}
        return _replayed_worse(self._bench, answers, after)


_RELATIONS: Final[Mapping[str, Callable[[Workbench, Statement], Verdict]]] = {
    "withdrawing_never_raises": _withdrawing,
    "danger_sign_never_raises": _danger_sign,
}
