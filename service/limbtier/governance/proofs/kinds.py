"""Every way in which two editions can decide one assessment differently."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from limbtier.domain.condition import Condition
from limbtier.domain.decision import DISPOSITIONS, LimbDecision
from limbtier.engine.interpreter import APPLIES, DOES_NOT_APPLY
from limbtier.governance.proofs.effects import (
    ARRANGED,
    AVOIDED,
    CAUTION,
    CHASED,
    CHOSEN,
    TECHNIQUE,
    Effect,
    different_effects,
)
from limbtier.governance.proofs.encoding import Encoding
from limbtier.governance.proofs.formulas import Formula, all_of, any_of, negated, same
from limbtier.governance.proofs.outcome import AtLeast, Review

Direction = Literal["less cautious", "more cautious", "neither"]
Aspect = Literal["fact", "tier", "disposition", "review", "range", "effect"]
# Arrangements, avoided materials and cautions make a decision more cautious; the others are another choice.
_CAUTIOUS: Final = (ARRANGED, AVOIDED, CAUTION)


@dataclass(frozen=True, slots=True)
class Kind:
    """One way of deciding differently: a formula, and whether two decisions of the engine show it."""

    aspect: Aspect
    change: str
    direction: Direction
    formula: Formula
    shows: Callable[[LimbDecision, LimbDecision], bool]
    effect: Effect | None = None
    fact: str = ""


def kinds_of(before: Encoding, after: Encoding) -> Iterator[Sequence[Kind]]:
    """Group by group: a fact is derived differently; the tier differs; with the same tier the disposition;
    with both the same the review, the range of the tier or its target; and whatever else is said."""
    yield list(_facts(before, after))
    one, other = before.outcome, after.outcome
    names = [tier.name for tier in before.edition.tiers]
    same_tier = _same(one.tiers.given, other.tiers.given)
    yield _tiers("tier", "tier", names, one.tiers.given, other.tiers.given, True, lambda one: one.tier)
    yield [
        Kind(
            "disposition",
            f"disposition {name} -> {later}",
            _direction(DISPOSITIONS.index(name), DISPOSITIONS.index(later)),
            all_of((same_tier, is_it, is_later)),
            _reads(lambda one: one.disposition, name, later),
        )
        for name, is_it in one.dispositions.items()
        for later, is_later in other.dispositions.items()
        if name != later
    ]
    same_disposition = [same(is_it, other.dispositions[name]) for name, is_it in one.dispositions.items()]
    alike = all_of((same_tier, *same_disposition))
    yield _reviews(one.review, other.review, alike)
    for change, here, there, read in (
        ("highest possible tier", one.tiers.highest, other.tiers.highest, _highest),
        ("target tier", one.tiers.target, other.tiers.target, _target),
    ):
        yield _tiers("range", change, names, here, there, alike, read)
    yield list(_effects(before, after, same_tier, alike))


def _facts(before: Encoding, after: Encoding) -> Iterator[Kind]:
    """Facts that both editions derive, where the rules that classify them were edited."""
    for name in before.edition.vocabulary.facts:
        if name not in after.terms or _classified(before, name) == _classified(after, name):
            continue
        one, other = before.terms[name], after.terms[name]
        states: list[tuple[str | None, Formula, Formula]] = [
            ("yes", one.word("yes"), other.word("yes")),
            ("no", one.word("no"), other.word("no")),
            (None, one.unknown, other.unknown),
        ]
        for state, here, _ in states:
            for later, _, there in states:
                if state != later:
                    change = f"fact {name} {state or 'not known'} -> {later or 'not known'}"
                    shows = _reads_fact(name, state, later)
                    yield Kind("fact", change, "neither", all_of((here, there)), shows, fact=name)


def _classified(encoding: Encoding, name: str) -> set[tuple[str, Condition]]:
    return {(rule.id, rule.when) for rule in encoding.edition.rules if name in rule.then.classify}


def _reads_fact(
    name: str, before: str | None, after: str | None
) -> Callable[[LimbDecision, LimbDecision], bool]:
    return lambda one, other: (one.trace.facts.get(name), other.trace.facts.get(name)) == (before, after)


def _tiers(
    aspect: Aspect,
    change: str,
    names: Sequence[str],
    here: AtLeast,
    there: AtLeast,
    alike: Formula,
    read: Callable[[LimbDecision], str],
) -> list[Kind]:
    return [
        Kind(
            aspect,
            f"{change} {name} -> {later}",
            _direction(rank, later_rank),
            all_of((alike, _exactly(here, rank), _exactly(there, later_rank))),
            _reads(read, name, later),
        )
        for rank, name in enumerate(names)
        for later_rank, later in enumerate(names)
        if rank != later_rank
    ]


def _reviews(here: Review, there: Review, alike: Formula) -> list[Kind]:
    return [
        Kind(
            "review",
            f"review within {24 * days} hours -> {24 * later_days} hours",
            _direction(days, later_days),
            all_of((alike, due, later_due)),
            _reads(lambda one: one.review.within_hours, 24 * days, 24 * later_days),
        )
        for days, due in _due(here)
        for later_days, later_due in _due(there)
        if days != later_days
    ]


def _effects(before: Encoding, after: Encoding, same_tier: Formula, alike: Formula) -> Iterator[Kind]:
    """What follows from another tier or disposition alone is not named once more."""
    by_itself = {CHOSEN: same_tier, TECHNIQUE: same_tier, CHASED: alike}
    for effect, (here, there) in different_effects(before, after).items():
        cautious = effect.sort in _CAUTIOUS
        by = by_itself.get(effect.sort, True)
        gone, new = all_of((by, here, negated(there))), all_of((by, negated(here), there))
        less: Direction = "less cautious" if cautious else "neither"
        more: Direction = "more cautious" if cautious else "neither"
        shows = _effect_differs(effect, before, after)
        yield Kind("effect", f"no longer {effect}", less, gone, shows, effect)
        yield Kind("effect", f"now {effect}", more, new, shows, effect)


def _reads(
    read: Callable[[LimbDecision], object], before: object, after: object
) -> Callable[[LimbDecision, LimbDecision], bool]:
    return lambda one, other: (read(one), read(other)) == (before, after)


def _same(one: AtLeast, other: AtLeast) -> Formula:
    return all_of(same(here, there) for here, there in zip(one, other, strict=True))


def _exactly(at_least: AtLeast, rank: int) -> Formula:
    above = at_least[rank + 1] if rank + 1 < len(at_least) else False
    return all_of((at_least[rank], negated(above)))


def _due(review: Review) -> Iterator[tuple[int, Formula]]:
    """For each interval, in days, that the review is due within it and within no shorter one."""
    sooner: Formula = False
    for days in review.amounts:
        within = review.within(days)
        yield days, all_of((within, negated(sooner)))
        sooner = any_of((sooner, within))


def _direction(before: int, after: int) -> Direction:
    """A higher tier, a later review and a less urgent disposition are less cautious."""
    return "less cautious" if after > before else "more cautious"


def _highest(decision: LimbDecision) -> str:
    return decision.highest_possible_tier


def _target(decision: LimbDecision) -> str:
    return decision.target_tier


def _effect_differs(
    effect: Effect, before: Encoding, after: Encoding
) -> Callable[[LimbDecision, LimbDecision], bool]:
    """Whether what the engine decides differs in an effect."""
    match effect.sort:
        case "chosen material":
            return lambda one, other: _names(one.chosen) != _names(other.chosen)
        case "avoided material":
            return lambda one, other: _names(one.avoided) != _names(other.avoided)
        case "caution" | "technique":
            return lambda one, other: _said(effect, before, one) != _said(effect, after, other)
        case _:
            return lambda one, other: _arranged(effect.what, one) != _arranged(effect.what, other)


def _said(effect: Effect, encoding: Encoding, decision: LimbDecision) -> bool:
    """Whether a sentence goes with a decision, by the states of the rules that say it."""
    chosen = _names(decision.chosen)
    for rule, state in zip(encoding.edition.rules, decision.trace.rules, strict=True):
        then = rule.then
        if effect.sort == CAUTION:
            if effect.what in then.caution and state != DOES_NOT_APPLY:
                return True
        elif (
            effect.what in then.instruct
            and state == APPLIES
            and decision.tier != encoding.edition.tiers[0].name
        ):
            at_tier = not then.instruct_at or decision.tier in then.instruct_at
            if at_tier and (not then.instruct_with or chosen & set(then.instruct_with)):
                return True
    return False


def _names(materials: Sequence[object]) -> set[str]:
    return {str(getattr(one, "name", "")) for one in materials}


def _arranged(what: str, decision: LimbDecision) -> set[tuple[object, ...]]:
    found = [entry for entry in decision.arrangements if entry.what == what]
    return {(entry.due_on, entry.within, entry.pending) for entry in found}
