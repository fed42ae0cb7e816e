"""What a decision comes to, as formulas: the tier and its range, the disposition, the review.

Mirrors `engine.tiers` and `engine.due_dates`. A tier is held as "at least this rank", one formula a rank,
and a review as "within so many days": conclusions combine by minimum and maximum, which these say plainly.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from limbtier.domain.decision import DISPOSITIONS, Disposition
from limbtier.domain.edition import Edition
from limbtier.engine.due_dates import CHANGES
from limbtier.engine.in_force import NO_REVIEW, InForce
from limbtier.governance.proofs.formulas import Formula, all_of, any_of, implied, negated, same
from limbtier.governance.proofs.terms import NEVER_RECORDED, Term, Truth

SUPPORT: Final = 1
AtLeast = tuple[Formula, ...]


@dataclass(frozen=True, slots=True)
class Tiers:
    """The range of the tier. `given[k]` says that the tier given has rank k or more; so do the others.

    `bounding[k]` says that a limit to rank k or lower applies or is undetermined, `applying[k]` that one
    applies; `surely[k]` that a proposal of rank k or higher applies, `possibly[k]` also when undetermined.
    """

    given: AtLeast
    highest: AtLeast
    target: AtLeast
    bounding: AtLeast
    applying: AtLeast
    surely: AtLeast
    possibly: AtLeast

    @property
    def stopped(self) -> Formula:
        """A limit to the lowest tier applies."""
        return self.applying[0]

    def is_given(self, rank: int) -> Formula:
        """The tier given has exactly this rank."""
        above = self.given[rank + 1] if rank + 1 < len(self.given) else False
        return all_of((self.given[rank], negated(above)))

    @property
    def determined(self) -> Formula:
        """No unanswered question can move the tier."""
        return all_of(same(low, high) for low, high in zip(self.given, self.highest, strict=True))


def tiers_of(edition: Edition, rules: Sequence[Truth]) -> Tiers:
    """How the limits and proposals of an edition combine."""
    ranks = {tier.name: rank for rank, tier in enumerate(edition.tiers)}
    places = range(len(edition.tiers))
    limits = [
        (ranks[rule.then.limit.tier], rule.then.limit.until is None, truth)
        for rule, truth in zip(edition.rules, rules, strict=True)
        if rule.then.limit is not None
    ]
    proposals = [
        (ranks[rule.then.propose], truth)
        for rule, truth in zip(edition.rules, rules, strict=True)
        if rule.then.propose is not None
    ]
    bounding = tuple(any_of(truth.possibly for rank, _, truth in limits if rank <= k) for k in places)
    applying = tuple(any_of(truth.surely for rank, _, truth in limits if rank <= k) for k in places)
    lasting = tuple(
        any_of(truth.surely for rank, lasts, truth in limits if lasts and rank <= k) for k in places
    )
    surely = tuple(any_of(truth.surely for rank, truth in proposals if rank >= k) for k in places)
    possibly = tuple(any_of(truth.possibly for rank, truth in proposals if rank >= k) for k in places)

    def lowest_of(proposed: AtLeast, held: AtLeast) -> AtLeast:
        return (True, *(all_of((proposed[k], negated(held[k - 1]))) for k in places if k))

    return Tiers(
        given=lowest_of(surely, bounding),
        highest=lowest_of(possibly, applying),
        target=lowest_of(possibly, lasting),
        bounding=bounding,
        applying=applying,
        surely=surely,
        possibly=possibly,
    )


def rank_now(edition: Edition, terms: Mapping[str, Term]) -> tuple[Formula, tuple[Formula, ...]]:
    """Whether it was not recorded what is on the leg; and for each rank that this is on."""
    term = terms.get("current_tier", NEVER_RECORDED)
    entry = edition.vocabulary.inputs.get("current_tier")
    counts_as = {one.value: one.counts_as or one.value for one in entry.choices} if entry else {}
    names = [tier.name for tier in edition.tiers]
    ranked = {
        word: names.index(counts_as.get(word, word)) if counts_as.get(word, word) in names else 0
        for word in term.words
    }
    now = tuple(
        any_of(is_it for word, is_it in term.words.items() if ranked[word] == rank)
        for rank in range(len(names))
    )
    return negated(any_of(now)), now


@dataclass(frozen=True, slots=True)
class Rows:
    """The disposition table: for each row whether its own condition fits, in the order of the table."""

    fits: tuple[tuple[Disposition, Formula], ...]

    @property
    def dispositions(self) -> Mapping[Disposition, Formula]:
        """For each disposition that the first row that fits gives it."""
        found: dict[Disposition, list[Formula]] = {name: [] for name in DISPOSITIONS}
        earlier: list[Formula] = []
        for name, fits in self.fits:
            found[name].append(all_of((fits, negated(any_of(earlier)))))
            earlier.append(fits)
        return {name: any_of(parts) for name, parts in found.items()}


def rows_of(tiers: Tiers, unknown: Formula, now: Sequence[Formula]) -> Rows:
    """The rows of the disposition table, in its order."""
    ranks = range(len(now))
    below_now = any_of(all_of((now[k], negated(tiers.given[k]))) for k in ranks)
    at_now = any_of(all_of((now[k], tiers.is_given(k))) for k in ranks)
    above_now = any_of(all_of((now[k], tiers.given[k + 1])) for k in ranks[:-1])
    may_stay = any_of(all_of((now[k], tiers.highest[k])) for k in ranks)
    on_support = all_of((now[SUPPORT], tiers.is_given(SUPPORT), tiers.highest[SUPPORT + 1]))
    return Rows(
        (
            ("stop_and_escalate", tiers.stopped),
            ("not_indicated", negated(tiers.possibly[0])),
            ("cannot_decide_yet", any_of((negated(tiers.given[1]), unknown))),
            ("start", now[0]),
            ("cannot_decide_yet", all_of((below_now, may_stay))),
            ("cannot_decide_yet", on_support),
            ("step_down", below_now),
            ("continue", at_now),
            ("step_up", above_now),
        )
    )


@dataclass(frozen=True, slots=True)
class Review:
    """When somebody must look again: each interval that can bind, in days, with when it does."""

    bounds: tuple[tuple[int, Formula], ...]

    def within(self, days: int) -> Formula:
        """The review is due within so many days."""
        return any_of(binds for amount, binds in self.bounds if amount <= days)

    @property
    def amounts(self) -> tuple[int, ...]:
        """The intervals that can bind, shortest first, in days."""
        return tuple(sorted({amount for amount, _ in self.bounds}))


def review_of(
    rules: Sequence[Truth], tiers: Tiers, dispositions: Mapping[Disposition, Formula], settings: InForce
) -> Review:
    """Every interval that can bind; rules that are undetermined count."""
    bounds = [
        (amount, truth.possibly)
        for amount, truth in zip(settings.reviews, rules, strict=True)
        if amount != NO_REVIEW
    ]
    below_target = any_of(
        all_of((high, negated(low))) for low, high in zip(tiers.given, tiers.target, strict=True)
    )
    binding: Mapping[str, Formula] = {
        "review_always": True,
        "review_cannot_decide_yet": dispositions["cannot_decide_yet"],
        "review_change": any_of(dispositions[name] for name in DISPOSITIONS if name in CHANGES),
        "review_undetermined": negated(tiers.determined),
        "review_stop_and_escalate": dispositions["stop_and_escalate"],
        "review_below_target": below_target,
    }
    bounds += [(settings.days(name), binds) for name, binds in binding.items()]
    bounds += [
        (amount, tiers.is_given(rank))
        for rank, amount in enumerate(settings.tier_reviews)
        if amount != NO_REVIEW
    ]
    return Review(tuple(bounds))


@dataclass(frozen=True, slots=True)
class Outcome:
    """Everything that a decision is compared by."""

    tiers: Tiers
    unknown_now: Formula
    now: tuple[Formula, ...]
    rows: Rows
    dispositions: Mapping[Disposition, Formula]
    review: Review


def outcome_of(
    edition: Edition, rules: Sequence[Truth], terms: Mapping[str, Term], settings: InForce
) -> Outcome:
    """The outcome of the rules as they read."""
    tiers = tiers_of(edition, rules)
    unknown, now = rank_now(edition, terms)
    rows = rows_of(tiers, unknown, now)
    dispositions = rows.dispositions
    return Outcome(tiers, unknown, now, rows, dispositions, review_of(rules, tiers, dispositions, settings))


def not_above(one: Outcome, other: Outcome) -> Formula:
    """The tier of the one is not above that of the other."""
    return all_of(implied(high, low) for high, low in zip(one.tiers.given, other.tiers.given, strict=True))


def not_later(one: Outcome, other: Outcome) -> Formula:
    """The review of the one is not after that of the other."""
    return all_of(
        implied(other.review.within(days), one.review.within(days)) for days in other.review.amounts
    )
