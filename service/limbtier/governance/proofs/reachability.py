"""Which rules, tiers and dispositions any assessment can reach, and which rules make a difference.

For the checks of an edition: each function answers one question, with an example that the engine has decided
where there is one. Nothing here is a breach of a guard rail by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from limbtier.domain.condition import AnyOf
from limbtier.domain.rule import Conclusions, Rule
from limbtier.engine.interpreter import APPLIES
from limbtier.governance.proofs.deadlines import surely_within
from limbtier.governance.proofs.effects import different_effects, same_outcome, technique_shown
from limbtier.governance.proofs.encoding import Encoding, encode
from limbtier.governance.proofs.formulas import Formula, all_of, any_of, negated, same
from limbtier.governance.proofs.outcome import outcome_of
from limbtier.governance.proofs.replay import CannotReplay, Replayed
from limbtier.governance.proofs.session import NoneFound, NotSettled
from limbtier.governance.proofs.workbench import Workbench, shrunk


@dataclass(frozen=True, slots=True)
class Example:
    """An assessment that shows it, decided by the engine: `request` is what the API takes."""

    request: Mapping[str, Any]
    decided: Replayed


@dataclass(frozen=True, slots=True)
class Never:
    """No assessment shows it."""


Reached = Example | Never | NotSettled


def rule_can_apply(bench: Workbench, rule_id: str, *, reduced: bool = False) -> Reached:
    """An assessment in which a rule applies, `reduced` to the answers that it takes.

    Raises KeyError for an unknown rule.
    """
    place = _place(bench, rule_id)
    return _example(
        bench,
        bench.encoding.rules[place].surely,
        lambda one: one.decision.trace.rules[place] == APPLIES,
        reduced,
    )


def tier_can_be_given(bench: Workbench, tier: str, *, reduced: bool = False) -> Reached:
    """An assessment to which a tier is given, `reduced` to the answers that it takes.

    Raises KeyError for an unknown tier.
    """
    rank = bench.prepared.ranks[tier]
    given = bench.encoding.outcome.tiers.is_given(rank)
    return _example(bench, given, lambda one: one.decision.tier == tier, reduced)


def disposition_can_come_out(bench: Workbench, disposition: str, *, reduced: bool = False) -> Reached:
    """An assessment that has a disposition, `reduced` to the answers that it takes.

    Raises KeyError for an unknown one.
    """
    found = {str(name): is_it for name, is_it in bench.encoding.outcome.dispositions.items()}
    return _example(bench, found[disposition], lambda one: one.decision.disposition == disposition, reduced)


def rule_matters(bench: Workbench, rule_id: str) -> bool | NotSettled:
    """Whether taking a rule out would change any decision: its tier, range, target, disposition, review,
    arrangements, materials, cautions or technique. Which rules are named as reasons is not compared.

    Raises KeyError for an unknown rule.
    """
    place = _place(bench, rule_id)
    for formula in _ways_to_matter(bench, place):
        answer = bench.session.find(formula)
        if isinstance(answer, NotSettled):
            return answer
        if not isinstance(answer, NoneFound):
            return True
    return False


def _ways_to_matter(bench: Workbench, place: int) -> Iterator[Formula]:
    """That taking a rule out changes something, the quickest question first."""
    rule, encoding = bench.edition.rules[place], bench.encoding
    yield _alone(bench, place)
    if rule.then.limit or rule.then.propose or rule.then.review:
        yield negated(same_outcome(encoding.outcome, _silent(bench, place).outcome))
    if rule.then.classify:
        rules = list(bench.edition.rules)
        rules[place] = replace(rule, when=AnyOf(()))
        never = replace(bench.edition, rules=tuple(rules))
        yield _differs(encoding, encode(never, bench.settings, bench.request, bench.domain))


def _alone(bench: Workbench, place: int) -> Formula:
    """The rule arranges, chooses, avoids or says something that no other rule does at the same time."""
    edition, encoding = bench.edition, bench.encoding
    rule, truth = edition.rules[place], encoding.rules[place]
    others = [
        (other, read, arranges)
        for other, read, arranges in zip(edition.rules, encoding.rules, bench.settings.arranges, strict=True)
        if other is not rule
    ]
    found: list[Formula] = []
    for arrange in bench.settings.arranges[place]:
        sooner = any_of(
            read.surely
            for _, read, arranges in others
            if any(one.what == arrange.what and surely_within(one.within, arrange.within) for one in arranges)
        )
        found.append(all_of((truth.surely, negated(sooner))))
    for name in rule.then.choose:
        chosen = any_of(read.surely for other, read, _ in others if name in other.then.choose)
        avoided = any_of(
            read.possibly
            for other, read in zip(edition.rules, encoding.rules, strict=True)
            if name in other.then.avoid
        )
        serves = any_of(
            encoding.outcome.tiers.is_given(bench.prepared.ranks[tier])
            for tier in edition.materials[name].tiers
        )
        found.append(all_of((truth.surely, negated(chosen), negated(avoided), serves)))
    for name in rule.then.avoid:
        avoided = any_of(read.possibly for other, read, _ in others if name in other.then.avoid)
        found.append(all_of((truth.possibly, negated(avoided))))
    for text in rule.then.caution:
        said = any_of(read.possibly for other, read, _ in others if text in other.then.caution)
        found.append(all_of((truth.possibly, negated(said))))
    said_elsewhere = {text for other, _, _ in others for text in other.then.instruct}
    if not said_elsewhere.issuperset(rule.then.instruct):
        found.append(technique_shown(encoding, place))
    return any_of(found)


def _differs(one: Encoding, other: Encoding) -> Formula:
    effects = different_effects(one, other).values()
    return any_of(
        (
            negated(same_outcome(one.outcome, other.outcome)),
            *(negated(same(here, there)) for here, there in effects),
        )
    )


def _silent(bench: Workbench, place: int) -> Encoding:
    """The same edition, the rule classifying as before and concluding nothing else: quickly made."""
    edition, rules = bench.edition, list(bench.edition.rules)
    rules[place] = replace(rules[place], then=Conclusions(classify=rules[place].then.classify))
    reviews, arranges = list(bench.settings.reviews), list(bench.settings.arranges)
    reviews[place], arranges[place] = -1, ()
    silent = replace(edition, rules=tuple(rules))
    settings = replace(bench.settings, reviews=tuple(reviews), arranges=tuple(arranges))
    encoding = bench.encoding
    return replace(
        encoding,
        edition=silent,
        settings=settings,
        outcome=outcome_of(silent, encoding.rules, encoding.terms, settings),
    )


@dataclass(frozen=True, slots=True)
class Subsumed:
    """Whenever `rule` counts, `by` counts as well and concludes at least as much."""

    rule: str
    by: str


def subsumed_rules(bench: Workbench) -> tuple[Subsumed | NotSettled, ...]:
    """Every pair of rules of which one is not needed beside the other. Of two that say the same of the same
    assessments, the later is named."""
    rules = list(zip(bench.edition.rules, bench.encoding.rules, strict=True))
    found: list[Subsumed | NotSettled] = []
    for place, (rule, truth) in enumerate(rules):
        for other_place, (other, wider) in enumerate(rules):
            if place == other_place or not _concludes_at_least(bench, other, rule, other_place, place):
                continue
            alone = any_of(
                (
                    all_of((truth.surely, negated(wider.surely))),
                    all_of((truth.possibly, negated(wider.possibly))),
                )
            )
            answer = bench.session.find(alone)
            if isinstance(answer, NotSettled):
                found.append(answer)
            elif isinstance(answer, NoneFound) and Subsumed(other.id, rule.id) not in found:
                found.append(Subsumed(rule.id, other.id))
    return tuple(found)


def _concludes_at_least(bench: Workbench, more: Rule, less: Rule, more_place: int, less_place: int) -> bool:
    """Everything that `less` concludes, `more` concludes as strictly or more so."""
    ranks, then, wanted = bench.prepared.ranks, more.then, less.then
    if wanted.propose and not (then.propose and ranks[then.propose] >= ranks[wanted.propose]):
        return False
    if wanted.limit and not (
        then.limit
        and ranks[then.limit.tier] <= ranks[wanted.limit.tier]
        and then.limit.until in (None, wanted.limit.until)
    ):
        return False
    reviews, arranges = bench.settings.reviews, bench.settings.arranges
    if wanted.review and not (then.review and reviews[more_place] <= reviews[less_place]):
        return False
    if not all(
        any(
            one.what == arrange.what and surely_within(one.within, arrange.within)
            for one in arranges[more_place]
        )
        for arrange in arranges[less_place]
    ):
        return False
    if wanted.instruct and (then.instruct_at, then.instruct_with) != (
        wanted.instruct_at,
        wanted.instruct_with,
    ):
        return False
    return all(
        set(getattr(wanted, name)) <= set(getattr(then, name))
        for name in ("classify", "choose", "avoid", "caution", "instruct")
    )


def _example(bench: Workbench, wanted: Formula, shows: Callable[[Replayed], bool], reduced: bool) -> Reached:
    """An assessment for which the formula holds, decided by the engine."""
    answer = bench.session.find(wanted, few=bench.request if reduced else None)
    if isinstance(answer, NotSettled):
        return answer
    if isinstance(answer, NoneFound):
        return Never()

    def confirm(answers: Mapping[str, Any]) -> tuple[Replayed] | None:
        replayed = bench.replay(answers)
        return (replayed,) if shows(replayed) else None

    try:
        answers = answer.answers(bench.request)
        shown = confirm(answers)
        if shown is None:
            return NotSettled("the encoding disagrees with the engine, which is a fault of limbtier")
        replayed = bench.replay(shrunk(answers, confirm)) if reduced else shown[0]
    except CannotReplay as error:
        return NotSettled(f"the engine does not take the example: {error}")
    return Example(replayed.request, replayed)


def _place(bench: Workbench, rule_id: str) -> int:
    for place, rule in enumerate(bench.edition.rules):
        if rule.id == rule_id:
            return place
    raise KeyError(rule_id)
