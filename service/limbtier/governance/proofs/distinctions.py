"""What a difference between two editions can hang on, as plain statements: the tests of the rules that
changed, and what all other rules come to."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from limbtier.domain.condition import Test, ValueTest, names, tests
from limbtier.domain.rule import Rule
from limbtier.engine.in_force import NO_REVIEW
from limbtier.foundation.answer_states import NOT_DONE
from limbtier.governance.proofs.effects import has_effect, is_same_formula, material_chosen
from limbtier.governance.proofs.encoding import Encoding
from limbtier.governance.proofs.formulas import Formula, all_of, any_of, negated
from limbtier.governance.proofs.kinds import Kind
from limbtier.governance.proofs.outcome import Outcome
from limbtier.governance.proofs.terms import NEVER_RECORDED, Term, Truth, truth_of

_STATES = {NOT_DONE: "not done"}


@dataclass(frozen=True, slots=True)
class Distinction:
    """A statement with its formula, in words for when it holds and for when it does not."""

    formula: Formula
    words: str
    denied: str


@dataclass(frozen=True, slots=True)
class Affected:
    """The rules, by id, that two editions read or conclude differently. `edited` are those that stand in one
    of them only, or were written anew; the others read a fact that the editions derive differently."""

    edited: frozenset[str]
    by_facts: frozenset[str]
    facts: frozenset[str]

    @property
    def rules(self) -> frozenset[str]:
        """All of them."""
        return self.edited | self.by_facts


def affected_rules(before: Encoding, after: Encoding) -> Affected:
    """The rules and facts that differ between two editions."""
    one, other = _by_id(before), _by_id(after)
    edited: set[str] = set(one.keys() ^ other.keys())
    by_facts: set[str] = set()
    for rule_id in one.keys() & other.keys():
        here, there = one[rule_id], other[rule_id]
        first, second = before.edition.rules[here], after.edition.rules[there]
        if first.when != second.when or _concluded(before, here) != _concluded(after, there):
            edited.add(rule_id)
        elif not _reads_alike(before.rules[here], after.rules[there]):
            by_facts.add(rule_id)
    facts = {*before.edition.vocabulary.facts, *after.edition.vocabulary.facts}
    return Affected(
        frozenset(edited),
        frozenset(by_facts),
        frozenset(name for name in facts if _fact_differs(name, before, after)),
    )


def _by_id(encoding: Encoding) -> dict[str, int]:
    return {rule.id: place for place, rule in enumerate(encoding.edition.rules)}


def _concluded(encoding: Encoding, place: int) -> tuple[object, ...]:
    rule = encoding.edition.rules[place]
    return rule.then, encoding.settings.reviews[place], encoding.settings.arranges[place]


def _reads_alike(one: Truth, other: Truth) -> bool:
    return is_same_formula(one.surely, other.surely) and is_same_formula(one.possibly, other.possibly)


def _fact_differs(name: str, before: Encoding, after: Encoding) -> bool:
    one, other = before.terms.get(name), after.terms.get(name)
    if one is None or other is None:
        return True
    return not all(is_same_formula(one.word(word), other.word(word)) for word in ("yes", "no"))


@dataclass(frozen=True, slots=True)
class Distinctions:
    """What differences between two editions can hang on, kind by kind."""

    before: Encoding
    after: Encoding
    affected: Affected

    def of_kind(self, kind: Kind) -> list[list[Distinction]]:
        """Groups of statements, the most telling group first, that together settle whether two decisions
        differ in this way. Within a group those that say least by themselves come first."""
        relevant = self._relevant(kind)
        first: list[Distinction] = []
        match kind.aspect:
            case "fact":
                first += self._classified(kind)
            case "tier":
                first += self._context(("bounding", "surely"))
            case "disposition":
                first += self._context(("bounding", "applying", "surely", "possibly"))
                first += _now(self.before)
            case "review":
                first += [*_decided(self.before, self.after), *self._reviews()]
            case "range":
                first += self._context(("bounding", "applying", "lasting", "surely", "possibly"))
                first += _now(self.before)
            case "effect":
                first += [*_decided(self.before, self.after), *self._others(kind)]
        first += [*self._facts(relevant), *self._read_with_facts(relevant), *self._tests(relevant)]
        behind = self._tests(self._behind(relevant))
        return [_without_repeats(first), _without_repeats(behind)]

    def _relevant(self, kind: Kind) -> frozenset[str]:
        """The affected rules that can bring the difference about."""

        def concludes(rule: Rule) -> bool:
            match kind.aspect:
                case "fact":
                    return kind.fact in rule.then.classify
                case "review":
                    return rule.then.review is not None
                case "effect":
                    return kind.effect is not None and has_effect(self.before, self.after, rule, kind.effect)
                case _:
                    return rule.then.limit is not None or rule.then.propose is not None

        return frozenset(
            rule.id for rule in self._both() if rule.id in self.affected.rules and concludes(rule)
        )

    def _both(self) -> Iterator[Rule]:
        yield from self.before.edition.rules
        yield from self.after.edition.rules

    def _facts_read(self, rules: frozenset[str]) -> frozenset[str]:
        """The differing facts that rules read."""
        read = (names(rule.when) for rule in self._both() if rule.id in rules)
        return frozenset[str]().union(*read) & self.affected.facts

    def _behind(self, rules: frozenset[str]) -> frozenset[str]:
        """The rules that classify the differing facts which rules read, and so on."""
        found: frozenset[str] = frozenset()
        while facts := self._facts_read(rules):
            rules = frozenset(
                rule.id for rule in self._both() if facts & set(rule.then.classify) and rule.id not in found
            )
            if not rules:
                break
            found |= rules
        return found

    def _context(self, parts: Sequence[str]) -> Iterator[Distinction]:
        """What the limits and proposals that both editions read alike come to, tier by tier."""
        edition = self.before.edition
        others = [
            (rule, truth)
            for rule, truth in zip(edition.rules, self.before.rules, strict=True)
            if rule.id not in self.affected.rules
        ]
        for rank, tier in enumerate(edition.tiers):
            limits = [
                (rule.then.limit, truth)
                for rule, truth in others
                if rule.then.limit and edition.rank(rule.then.limit.tier) <= rank
            ]
            proposals = [
                truth
                for rule, truth in others
                if rule.then.propose and edition.rank(rule.then.propose) >= rank
            ]
            down, up = f"{tier.name} or lower", f"{tier.name} or higher" if rank else "any tier"
            statements = {
                "bounding": Distinction(
                    any_of(truth.possibly for _, truth in limits),
                    f"another rule limits the leg to {down}, or may once all is answered",
                    f"no other rule limits the leg to {down}",
                ),
                "applying": Distinction(
                    any_of(truth.surely for _, truth in limits),
                    f"another rule that applies limits the leg to {down}",
                    f"no other rule that applies limits the leg to {down}",
                ),
                "lasting": Distinction(
                    any_of(truth.surely for limit, truth in limits if limit.until is None),
                    f"another rule that applies limits the leg to {down}, and nothing lifts that",
                    f"no other rule that applies limits the leg to {down} for good",
                ),
                "surely": Distinction(
                    any_of(truth.surely for truth in proposals),
                    f"another rule that applies proposes {up}",
                    f"no other rule that applies proposes {up}",
                ),
                "possibly": Distinction(
                    any_of(truth.possibly for truth in proposals),
                    f"another rule proposes {up}, or may once all is answered",
                    f"no other rule proposes {up}",
                ),
            }
            yield from (statements[part] for part in parts)

    def _reviews(self) -> Iterator[Distinction]:
        reviews = self.before.settings.reviews
        rules = list(zip(self.before.edition.rules, self.before.rules, reviews, strict=True))
        for days in sorted(set(reviews) - {NO_REVIEW}):
            sooner = (
                truth.possibly
                for rule, truth, amount in rules
                if amount != NO_REVIEW and amount <= days and rule.id not in self.affected.rules
            )
            words = f"asks for a review within {24 * days} hours"
            yield Distinction(any_of(sooner), f"another rule {words}", f"no other rule {words}")

    def _classified(self, kind: Kind) -> Iterator[Distinction]:
        """Whether rules that both editions read alike classify the fact."""
        others = [
            truth
            for rule, truth in zip(self.before.edition.rules, self.before.rules, strict=True)
            if kind.fact in rule.then.classify and rule.id not in self.affected.rules
        ]
        surely, possibly = any_of(one.surely for one in others), any_of(one.possibly for one in others)
        yield Distinction(surely, "another rule makes it so", "no other rule surely makes it so")
        yield Distinction(possibly, "another rule may make it so", "no other rule makes it so")

    def _others(self, kind: Kind) -> Iterator[Distinction]:
        """Whether rules that both editions read alike have the effect, or for a material prevent it."""
        for rule, truth in zip(self.before.edition.rules, self.before.rules, strict=True):
            touches = kind.effect is not None and has_effect(self.before, self.after, rule, kind.effect)
            if touches and rule.id not in self.affected.rules:
                yield Distinction(truth.surely, f"`{rule.id}` applies", f"`{rule.id}` does not surely apply")
                yield Distinction(truth.possibly, f"`{rule.id}` may apply", f"`{rule.id}` does not apply")
            for name in rule.then.instruct_with if touches else ():
                for encoding, other, by in (
                    (self.before, self.after, "before"),
                    (self.after, self.before, "after"),
                ):
                    chosen = material_chosen(encoding, name)
                    named = _by(chosen, material_chosen(other, name), by)
                    yield Distinction(chosen, f"{name} is chosen{named}", f"{name} is not chosen{named}")

    def _facts(self, relevant: frozenset[str]) -> Iterator[Distinction]:
        """The differing facts that these rules read, by both editions."""
        for name in sorted(self._facts_read(relevant)):
            for encoding, by in ((self.before, "before"), (self.after, "after")):
                term = encoding.terms.get(name, NEVER_RECORDED)
                for word in ("yes", "no"):
                    words = f"`{name}` ({by}) is {word}", f"`{name}` ({by}) is not {word}"
                    yield Distinction(term.word(word), *words)

    def _read_with_facts(self, relevant: frozenset[str]) -> Iterator[Distinction]:
        """How those of the rules that were not edited read, for each state of the facts that differ."""
        for rule in self.before.edition.rules:
            if rule.id not in self.affected.by_facts & relevant:
                continue
            differing = sorted(names(rule.when) & self.affected.facts)
            for states in itertools.product(("yes", "no", None), repeat=len(differing)):
                supposed = dict(zip(differing, states, strict=True))
                terms = {
                    name: NEVER_RECORDED if state is None else Term(False, {state: True})
                    for name, state in supposed.items()
                }
                truth = truth_of(rule.when, {**self.before.terms, **terms})
                being = " and ".join(
                    f"`{name}` {'is not known' if state is None else 'is ' + state}"
                    for name, state in supposed.items()
                )
                surely = f"`{rule.id}` applies where {being}", f"`{rule.id}` need not apply where {being}"
                possibly = f"`{rule.id}` may apply where {being}", f"`{rule.id}` does not apply where {being}"
                yield Distinction(truth.surely, *surely)
                yield Distinction(truth.possibly, *possibly)

    def _tests(self, rules: frozenset[str]) -> Iterator[Distinction]:
        """The tests of edited rules, in both editions; facts that differ are named by themselves."""
        edited = rules & self.affected.edited
        for encoding in (self.before, self.after):
            for rule in encoding.edition.rules:
                for test in tests(rule.when) if rule.id in edited else ():
                    if test.name not in self.affected.facts:
                        truth, words = truth_of(test, encoding.terms), test_in_words(test)
                        yield Distinction(truth.surely, words, f"it is not sure that {words}")
                        yield Distinction(
                            truth.possibly, f"it may be that {words}", f"it is not so that {words}"
                        )


def _decided(before: Encoding, after: Encoding) -> Iterator[Distinction]:
    """What both editions decide, as statements; where they may decide differently each says by which."""
    for one, other, by in ((before, after, "before"), (after, before, "after")):
        here, there = one.outcome, other.outcome
        named = _by(here.tiers.determined, there.tiers.determined, by)
        moves = f"unanswered question could move the tier{named}"
        yield Distinction(here.tiers.determined, f"no {moves}", f"an {moves}")
        below = _below_target(here)
        named = _by(below, _below_target(there), by)
        yield Distinction(below, f"the leg is below its target{named}", f"the leg is at its target{named}")
        for rank, tier in enumerate(one.edition.tiers):
            given = here.tiers.is_given(rank)
            named = _by(given, there.tiers.is_given(rank), by)
            words = f"the tier{named} is {tier.name}", f"the tier{named} is not {tier.name}"
            yield Distinction(given, *words)
        for name, is_it in here.dispositions.items():
            named = _by(is_it, there.dispositions[name], by)
            words = f"the decision{named} is {name}", f"the decision{named} is not {name}"
            yield Distinction(is_it, *words)


def _below_target(outcome: Outcome) -> Formula:
    pairs = zip(outcome.tiers.given, outcome.tiers.target, strict=True)
    return any_of(all_of((high, negated(low))) for low, high in pairs)


def _by(one: Formula, other: Formula, by: str) -> str:
    return "" if is_same_formula(one, other) else f" ({by})"


def _without_repeats(distinctions: Iterable[Distinction]) -> list[Distinction]:
    """Without statements that are known, and without a second one for the same formula."""
    found: dict[int, Distinction] = {}
    for one in distinctions:
        if not isinstance(one.formula, bool):
            found.setdefault(one.formula.get_id(), one)
    return list(found.values())


def _now(encoding: Encoding) -> Iterator[Distinction]:
    for rank, tier in enumerate(encoding.edition.tiers):
        on = "nothing is on the leg" if rank == 0 else f"{tier.name} is on the leg"
        off = "something is on the leg, or it is not known" if rank == 0 else f"{tier.name} is not on the leg"
        yield Distinction(encoding.outcome.now[rank], on, off)
    words = "what is on the leg was not recorded", "what is on the leg was recorded"
    yield Distinction(encoding.outcome.unknown_now, *words)


def test_in_words(test: Test) -> str:
    """A test as part of a sentence."""
    if isinstance(test, ValueTest):
        return f"`{test.name}` is {' or '.join(_STATES.get(value, value) for value in test.values)}"
    edges = (
        (test.at_least, "{} or more"),
        (test.above, "above {}"),
        (test.at_most, "{} or less"),
        (test.below, "below {}"),
    )
    return f"`{test.name}` is " + " and ".join(
        words.format(_plain(edge)) for edge, words in edges if edge is not None
    )


def _plain(edge: Fraction) -> str:
    if edge.denominator == 1:
        return str(edge.numerator)
    return str(Decimal(edge.numerator) / Decimal(edge.denominator))
