"""Asking the solver: one session holds what every request meets, and answers questions about all of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final

import z3

from limbtier.governance.proofs.formulas import Expression, Formula, all_of
from limbtier.governance.proofs.requests import Domain, Request
from limbtier.governance.proofs.witness import Answers, answers_in

# How long one question may take. Each takes milliseconds; a machine that stands still must not look like one
# that cannot be settled.
MILLISECONDS: Final = 30_000


@dataclass(frozen=True, slots=True)
class Found:
    """There is such a request, and this is one. `exact` is False where a sum or product is not one that can
    be sent, so that the values that were found do not show it."""

    model: Any
    exact: bool = True

    def holds(self, formula: Formula) -> bool:
        """Whether the formula is true in it."""
        if isinstance(formula, bool):
            return formula
        return bool(z3.is_true(self.model.eval(formula, model_completion=True)))

    def value(self, expression: Expression) -> int:
        """The whole number that an expression is in it."""
        if isinstance(expression, int):
            return expression
        return int(self.model.eval(expression, model_completion=True).as_long())

    def answers(self, request: Request) -> Answers:
        """The answers that are sent in it."""
        return answers_in(self, request)


@dataclass(frozen=True, slots=True)
class NoneFound:
    """There is no such request."""


@dataclass(frozen=True, slots=True)
class NotSettled:
    """The solver gave up."""

    reason: str


Answer = Found | NoneFound | NotSettled


class Session:
    """A solver with the constraints of a domain; questions are asked one after another, and by one thread of
    the process at a time, because all sessions share what the solver's library keeps."""

    def __init__(self, domain: Domain, milliseconds: int = MILLISECONDS) -> None:
        self.domain = domain
        self.questions = 0
        self._solver = z3.Solver()
        self._solver.set("timeout", milliseconds)
        self._solver.set("random_seed", 0)
        self._added = (0, 0, 0)
        self._exact = z3.Bool("only values that can be sent")
        self._usual = z3.Bool("only usual numbers")

    def require(self, *formulas: Formula) -> None:
        """What every request of this session meets from now on."""
        self._take_in_domain()
        self._solver.add(_plain(formulas))

    @contextmanager
    def supposing(self, *formulas: Formula) -> Iterator[None]:
        """What requests meet within the block."""
        self._take_in_domain()
        taken_in = self._added
        self._solver.push()
        try:
            self._solver.add(_plain(formulas))
            yield
        finally:
            self._solver.pop()
            self._added = taken_in  # what the domain grew by within the block went with it

    def find(self, *formulas: Formula, few: Request | None = None) -> Answer:
        """A request for which all formulas hold, with `few` of the answers of a request. Values that can be
        sent are tried first; where there are none, the free sums and products decide whether none can be
        found at all."""
        self._take_in_domain()
        wanted = all_of(formulas)
        if wanted is False:
            return NoneFound()
        self.questions += 1
        self._solver.push()
        try:
            self._solver.add(_plain((wanted,)))
            if self._solver.check() == z3.unsat:
                return NoneFound()
            for narrowed in ((self._exact, self._usual), (self._exact,)):
                if self._solver.check(*narrowed) == z3.sat:
                    model = self._solver.model()
                    return Found(model if few is None else self._with_few(few, narrowed, model))
            result = self._solver.check()
            if result == z3.sat:
                return Found(self._solver.model(), exact=False)
            return NoneFound() if result == z3.unsat else NotSettled(_words(self._solver.reason_unknown()))
        finally:
            self._solver.pop()

    def _with_few(self, few: Request, narrowed: Sequence[Formula], model: Any) -> Any:
        """A model in which little is answered: what the solver needs to be answered is let go, in turn."""
        absent = {sent.absent.get_id(): sent.absent for sent in few.values()}
        while (result := self._solver.check(*narrowed, *absent.values())) == z3.unsat:
            for one in {one.get_id() for one in self._solver.unsat_core()} & absent.keys():
                del absent[one]
        return self._solver.model() if result == z3.sat else model

    def needed(self, groups: Sequence[Sequence[Formula]]) -> list[int] | None:
        """The places, counted through all groups, of formulas that together contradict what is required, such
        that none of them can be left out; later groups are drawn on only where the earlier do not suffice.
        None where all together do not contradict it. Within a group the first are given up first."""
        self._take_in_domain()
        self.questions += 1
        flat = [formula for group in groups for formula in group]
        proxies = [z3.Bool(f"formula {place}") for place in range(len(flat))]
        places = {proxy.get_id(): place for place, proxy in enumerate(proxies)}
        self._solver.push()
        try:
            for proxy, formula in zip(proxies, _plain(flat), strict=True):
                self._solver.add(z3.Implies(proxy, formula))
            size = 0
            for group in groups:
                size += len(group)
                if self._solver.check(proxies[:size]) == z3.unsat:
                    kept = sorted(places[proxy.get_id()] for proxy in self._solver.unsat_core())
                    return self._least(proxies, kept)
            return None
        finally:
            self._solver.pop()

    def _least(self, proxies: Sequence[Formula], kept: list[int]) -> list[int]:
        for place in list(kept):
            fewer = [other for other in kept if other != place]
            if self._solver.check([proxies[other] for other in fewer]) == z3.unsat:
                kept = fewer
        return kept

    def _take_in_domain(self) -> None:
        """The domain grows when a further request or measure is described."""
        domain, added = self.domain, self._added
        self._added = (len(domain.constraints), len(domain.exactness), len(domain.usual))
        self._solver.add(_plain(domain.constraints[added[0] :]))
        for literal, fresh in (
            (self._exact, domain.exactness[added[1] :]),
            (self._usual, domain.usual[added[2] :]),
        ):
            self._solver.add([z3.Implies(literal, formula) for formula in _plain(fresh)])


def _plain(formulas: Iterable[Formula]) -> list[Formula]:
    return [z3.BoolVal(one) if isinstance(one, bool) else one for one in formulas]


def _words(reason: str) -> str:
    """What the solver says, in words for people."""
    if reason in ("timeout", "canceled"):
        return "the solver ran out of time"
    return f"the solver could not settle it ({reason})"
