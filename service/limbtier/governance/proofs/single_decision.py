"""Statements about one decision, whatever the guard rails say: it is one, and complete answers decide."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from limbtier.governance.proofs.formulas import Formula, all_of, any_of, negated
from limbtier.governance.proofs.outcome import AtLeast
from limbtier.governance.proofs.replay import CannotReplay, Replayed
from limbtier.governance.proofs.verdict import Statement, Verdict
from limbtier.governance.proofs.witness import Answers
from limbtier.governance.proofs.workbench import Workbench

ONE_OUTCOME: Final = Statement(
    "exactly-one-outcome",
    "one outcome",
    "Every assessment has exactly one tier and one disposition, the tier given is never above the highest "
    "possible one, and neither is above the target.",
)
PLAN: Final = Statement(
    "plan-names-a-lift",
    "one outcome",
    "Whenever a leg is held below its target, something that could lift it is named.",
)
COMPLETE: Final = Statement(
    "complete-answers-decide",
    "completeness",
    "When every question was answered, not done or not asked, the tier is determined and the decision is "
    "never that it cannot be decided yet.",
)


def prove_single_decisions(bench: Workbench) -> Iterator[Verdict]:
    """Each of these statements in turn."""
    outcome = bench.encoding.outcome
    tiers = outcome.tiers
    table = list(outcome.dispositions.values())
    no_row = negated(any_of(fits for _, fits in outcome.rows.fits))
    two = any_of(all_of((one, other)) for place, one in enumerate(table) for other in table[place + 1 :])
    crossed = any_of((_above(tiers.given, tiers.highest), _above(tiers.highest, tiers.target)))
    yield bench.settle(ONE_OUTCOME, any_of((no_row, two, crossed)), lambda one: _crossed(bench, one))
    yield bench.settle(PLAN, _nothing_lifts(bench), lambda one: _without_lift(bench, one))
    undecided = any_of((negated(tiers.determined), outcome.dispositions["cannot_decide_yet"]))
    yield bench.settle(
        COMPLETE, all_of((complete(bench), undecided)), lambda one: _undecided(bench, one), whole=True
    )


def complete(bench: Workbench) -> Formula:
    """Every question has an answer, is not done or not asked."""
    inputs = bench.edition.vocabulary.inputs
    return all_of(negated(bench.encoding.terms[name].unknown) for name in inputs)


def _above(low: AtLeast, high: AtLeast) -> Formula:
    return any_of(all_of((one, negated(other))) for one, other in zip(low, high, strict=True))


def _crossed(bench: Workbench, answers: Answers) -> Sequence[Replayed] | None:
    replayed = bench.replay(answers)
    decision, rank = replayed.decision, bench.prepared.ranks
    ranks = [
        rank[decision.tier],
        rank[decision.highest_possible_tier],
        rank[decision.target_tier],
    ]
    return (replayed,) if ranks != sorted(ranks) else None


def _nothing_lifts(bench: Workbench) -> Formula:
    """The tier is below the target, and at that tier no limit or proposal is held by an answer or a lift."""
    tiers, ranks = bench.encoding.outcome.tiers, bench.prepared.ranks
    found: list[Formula] = []
    for given in range(len(ranks) - 1):
        lifted: list[Formula] = []
        for rule, truth in zip(bench.edition.rules, bench.encoding.rules, strict=True):
            limit, proposed = rule.then.limit, rule.then.propose
            if limit is not None and ranks[limit.tier] <= given:
                lifted.append(truth.undetermined if limit.until is None else truth.possibly)
            if proposed is not None and ranks[proposed] > given:
                lifted.append(all_of((truth.undetermined, negated(tiers.surely[given + 1]))))
        below = all_of((tiers.is_given(given), tiers.target[given + 1]))
        found.append(all_of((below, negated(any_of(lifted)))))
    return any_of(found)


def _without_lift(bench: Workbench, answers: Answers) -> Sequence[Replayed] | None:
    replayed = bench.replay(answers)
    plan = replayed.decision.plan
    below = replayed.decision.tier != replayed.decision.target_tier
    return (replayed,) if below and not (plan and all(step.liftings for step in plan)) else None


def _undecided(bench: Workbench, answers: Answers) -> Sequence[Replayed] | None:
    replayed = bench.replay(answers)
    decision = replayed.decision
    unanswered = bench.edition.vocabulary.inputs.keys() - decision.trace.facts.keys()
    if unanswered:
        raise CannotReplay(f"the engine holds {', '.join(sorted(unanswered))} for unanswered")
    undecided = not decision.determined or decision.disposition == "cannot_decide_yet"
    return (replayed,) if undecided else None
