"""Everything that a decision says beside its tier and its review, each as one formula; and when two
encodings over one request say the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from limbtier.domain.interval import Interval
from limbtier.domain.rule import Rule
from limbtier.governance.proofs.deadlines import surely_within
from limbtier.governance.proofs.encoding import Encoding
from limbtier.governance.proofs.formulas import Formula, all_of, any_of, negated, same
from limbtier.governance.proofs.outcome import SUPPORT, Outcome

ARRANGED: Final = "arranged"
PENDING: Final = "to be arranged once answered"
CHASED: Final = "chased at support"
CHOSEN: Final = "chosen material"
AVOIDED: Final = "avoided material"
CAUTION: Final = "caution"
TECHNIQUE: Final = "technique"


@dataclass(frozen=True, slots=True)
class Effect:
    """One thing that a decision can say: its sort, what it is, and by when where that matters."""

    sort: str
    what: str
    within: Interval | None = None

    def __str__(self) -> str:
        return f"{self.sort}: {self.what}{'' if self.within is None else f', within {self.within}'}"


Effects = Mapping[Effect, Formula]


def effects_of(encoding: Encoding, intervals: Mapping[str, Iterable[Interval]]) -> Effects:
    """Every effect of an edition. `intervals` name for each arrangement the intervals to tell apart."""
    found: dict[Effect, Formula] = {}
    found.update(_arrangements(encoding, intervals))
    found.update(_materials(encoding))
    found.update(_texts(encoding))
    return found


def has_effect(before: Encoding, after: Encoding, rule: Rule, effect: Effect) -> bool:
    """Whether a rule of either edition can have an effect; of a chosen material also whether it avoids it."""
    then = rule.then
    match effect.sort:
        case "arranged" | "to be arranged once answered" | "chased at support":
            return any(
                other is rule and any(one.what == effect.what for one in arranges)
                for encoding in (before, after)
                for other, arranges in zip(encoding.edition.rules, encoding.settings.arranges, strict=True)
            )
        case "chosen material":
            return effect.what in then.choose or effect.what in then.avoid
        case "avoided material":
            return effect.what in then.avoid
        case "caution":
            return effect.what in then.caution
        case _:
            return effect.what in then.instruct


def intervals_of(*encodings: Encoding) -> dict[str, set[Interval]]:
    """For each arrangement the intervals within which any of the editions arranges it."""
    found: dict[str, set[Interval]] = {}
    for encoding in encodings:
        for arranges in encoding.settings.arranges:
            for arrange in arranges:
                found.setdefault(arrange.what, set()).add(arrange.within)
    return found


def _arrangements(
    encoding: Encoding, intervals: Mapping[str, Iterable[Interval]]
) -> Iterable[tuple[Effect, Formula]]:
    edition, ranks = encoding.edition, encoding.edition.rank
    asked = [
        (arrange, rule, truth)
        for arranges, rule, truth in zip(
            encoding.settings.arranges, edition.rules, encoding.rules, strict=True
        )
        for arrange in arranges
    ]
    for what in sorted(intervals):
        for within in sorted(intervals[what], key=str):
            sooner = [
                truth
                for arrange, _, truth in asked
                if arrange.what == what and surely_within(arrange.within, within)
            ]
            yield Effect(ARRANGED, what, within), any_of(truth.surely for truth in sooner)
            yield Effect(PENDING, what, within), any_of(truth.possibly for truth in sooner)
        chased = [
            truth.surely
            for arrange, rule, truth in asked
            if arrange.what == what
            and rule.then.limit is not None
            and rule.then.limit.until is not None
            and ranks(rule.then.limit.tier) == SUPPORT
        ]
        stays = all_of((encoding.outcome.dispositions["continue"], encoding.outcome.tiers.is_given(SUPPORT)))
        yield Effect(CHASED, what), all_of((stays, any_of(chased)))


def _materials(encoding: Encoding) -> Iterable[tuple[Effect, Formula]]:
    for name in encoding.edition.materials:
        yield Effect(CHOSEN, name), material_chosen(encoding, name)
        yield Effect(AVOIDED, name), material_avoided(encoding, name)


def material_avoided(encoding: Encoding, name: str) -> Formula:
    """A rule avoids the material, applying or undetermined."""
    rules = zip(encoding.edition.rules, encoding.rules, strict=True)
    return any_of(truth.possibly for rule, truth in rules if name in rule.then.avoid)


def material_chosen(encoding: Encoding, name: str) -> Formula:
    """A rule that applies chooses the material, it serves the tier given, and no rule avoids it."""
    rules = zip(encoding.edition.rules, encoding.rules, strict=True)
    wanted = any_of(truth.surely for rule, truth in rules if name in rule.then.choose)
    serves = any_of(
        encoding.outcome.tiers.is_given(rank)
        for rank, tier in enumerate(encoding.edition.tiers)
        if tier.name in encoding.edition.materials[name].tiers
    )
    return all_of((wanted, serves, negated(material_avoided(encoding, name))))


def _texts(encoding: Encoding) -> Iterable[tuple[Effect, Formula]]:
    found: dict[Effect, list[Formula]] = {}
    for place, (rule, truth) in enumerate(zip(encoding.edition.rules, encoding.rules, strict=True)):
        for text in rule.then.caution:
            found.setdefault(Effect(CAUTION, text), []).append(truth.possibly)
        if rule.then.instruct:
            shown = technique_shown(encoding, place)
            for text in rule.then.instruct:
                found.setdefault(Effect(TECHNIQUE, text), []).append(shown)
    return ((effect, any_of(parts)) for effect, parts in found.items())


def technique_shown(encoding: Encoding, place: int) -> Formula:
    """A rule's sentences of technique are shown: at its tiers, with its materials; never when withholding."""
    then, edition = encoding.edition.rules[place].then, encoding.edition
    at = any_of(
        encoding.outcome.tiers.is_given(rank)
        for rank, tier in enumerate(edition.tiers)
        if rank and (not then.instruct_at or tier.name in then.instruct_at)
    )
    chosen = any_of(material_chosen(encoding, name) for name in then.instruct_with)
    return all_of((encoding.rules[place].surely, at, chosen if then.instruct_with else True))


def same_outcome(one: Outcome, other: Outcome) -> Formula:
    """Tier, range, target, disposition and review are the same."""
    ranks = range(len(one.tiers.given))
    amounts = sorted({*one.review.amounts, *other.review.amounts})
    return all_of(
        (
            *(same(one.tiers.given[k], other.tiers.given[k]) for k in ranks),
            *(same(one.tiers.highest[k], other.tiers.highest[k]) for k in ranks),
            *(same(one.tiers.target[k], other.tiers.target[k]) for k in ranks),
            *(same(is_it, other.dispositions[name]) for name, is_it in one.dispositions.items()),
            *(same(one.review.within(days), other.review.within(days)) for days in amounts),
        )
    )


def different_effects(one: Encoding, other: Encoding) -> dict[Effect, tuple[Formula, Formula]]:
    """The effects whose formulas are not one and the same, with both; they may still mean the same."""
    intervals = intervals_of(one, other)
    first, second = effects_of(one, intervals), effects_of(other, intervals)
    found: dict[Effect, tuple[Formula, Formula]] = {}
    for effect in (*first, *(effect for effect in second if effect not in first)):
        here, there = first.get(effect, False), second.get(effect, False)
        if not is_same_formula(here, there):
            found[effect] = here, there
    return found


def is_same_formula(one: Formula, other: Formula) -> bool:
    """Both are one and the same formula, not only equivalent."""
    if isinstance(one, bool) or isinstance(other, bool):
        return one is other
    return bool(one.eq(other))
