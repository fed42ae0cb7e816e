"""That the order of the rules never matters."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from limbtier.domain.decision import LimbDecision
from limbtier.domain.edition import Edition
from limbtier.engine.matcher import MatcherPool
from limbtier.engine.prepared import prepare
from limbtier.governance.proofs.effects import different_effects, same_outcome
from limbtier.governance.proofs.encoding import encode
from limbtier.governance.proofs.formulas import Formula, any_of, negated, same
from limbtier.governance.proofs.replay import CannotReplay, Replayer
from limbtier.governance.proofs.session import Found, NoneFound, NotSettled
from limbtier.governance.proofs.verdict import Inconclusive, Proved, Statement, Verdict
from limbtier.governance.proofs.witness import Answers
from limbtier.governance.proofs.workbench import Clock, Workbench

ORDER: Final = Statement(
    "order-never-matters",
    "order",
    "The order in which rules stand in their files never changes how a rule reads, nor what is decided.",
)


def prove_order(bench: Workbench) -> Verdict:
    """The edition with its rules in reverse order reads and decides as the edition itself.

    Formulas combine rules as sets, so that one order stands for all; that the engine does as well is shown
    on assessments of every tier and disposition, decided by both orders.
    """
    clock = Clock()
    places = reversed_places(bench.edition)
    turned = reordered(bench.edition, places)
    reviews, arranges = bench.settings.reviews, bench.settings.arranges
    settings = replace(
        bench.settings,
        reviews=tuple(reviews[place] for place in places),
        arranges=tuple(arranges[place] for place in places),
    )
    other = encode(turned, settings, bench.request, bench.domain)
    different: list[Formula] = [negated(same_outcome(bench.encoding.outcome, other.outcome))]
    for place, truth in zip(places, other.rules, strict=True):
        here = bench.encoding.rules[place]
        different += [
            negated(same(here.surely, truth.surely)),
            negated(same(here.possibly, truth.possibly)),
        ]
    effects = different_effects(bench.encoding, other).values()
    different += [negated(same(here, there)) for here, there in effects]
    answer = bench.session.find(any_of(different))
    if isinstance(answer, NotSettled):
        return Inconclusive(ORDER, clock.seconds(), answer.reason)
    if isinstance(answer, Found):
        return Inconclusive(ORDER, clock.seconds(), "the formulas depend on the order: a fault of limbtier")
    return _by_the_engine(bench, turned, clock)


def _by_the_engine(bench: Workbench, turned: Edition, clock: Clock) -> Verdict:
    prepared = prepare(turned, bench.prepared.guard_rails, MatcherPool)
    replayer = Replayer(prepared, bench.calendars)
    count = 0
    try:
        for answers in varied_answers(bench):
            one = bench.replay(answers)
            other = replayer.decide(answers, one.moment)
            if _said(one.decision) != _said(other.decision):
                return bench.counterexample(ORDER, (one, other), clock)
            count += 1
    except CannotReplay as error:
        return Inconclusive(ORDER, clock.seconds(), str(error))
    note = f"shown for the reverse order, and by the engine on {count} assessments decided in both orders"
    return Proved(ORDER, clock.seconds(), note)


def varied_answers(bench: Workbench) -> Iterator[Answers]:
    """Assessments of every tier and disposition that there are, and of both together."""
    outcome = bench.encoding.outcome
    tiers = [outcome.tiers.is_given(rank) for rank in range(len(bench.edition.tiers))]
    for given in tiers:
        for disposition in outcome.dispositions.values():
            answer = bench.session.find(given, disposition)
            if isinstance(answer, Found):
                yield answer.answers(bench.request)
            elif not isinstance(answer, NoneFound):
                raise CannotReplay(answer.reason)


def reversed_places(edition: Edition) -> list[int]:
    """The places of the rules in reverse order, those of a stratum still together."""
    return sorted(range(len(edition.rules) - 1, -1, -1), key=lambda place: edition.strata[place])


def reordered(edition: Edition, places: list[int]) -> Edition:
    """The same edition, its rules in the order of these places."""
    return replace(
        edition,
        rules=tuple(edition.rules[place] for place in places),
        strata=tuple(edition.strata[place] for place in places),
    )


def _said(decision: LimbDecision) -> tuple[object, ...]:
    """Everything decided, in an order of its own."""
    return (
        decision.disposition,
        decision.tier,
        decision.target_tier,
        decision.highest_possible_tier,
        decision.review.due_on,
        decision.review.within_hours,
        frozenset(decision.review.set_by),
        frozenset((one.rule, one.tier, one.undetermined, one.at_tier_given) for one in decision.limits),
        tuple((step.from_tier, step.to_tier, frozenset(step.liftings)) for step in decision.plan),
        frozenset(question.input for question in decision.questions),
        frozenset(
            (one.what, one.due_on, frozenset(one.rules), one.after, one.pending)
            for one in decision.arrangements
        ),
        frozenset(one.name for one in decision.chosen),
        frozenset(one.name for one in decision.avoided),
    )
