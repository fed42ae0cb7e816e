"""One edition as formulas over all requests: the facts, how every rule reads, and the outcome."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from fractions import Fraction
from typing import Final

from limbtier.domain.condition import ALWAYS, Condition, EdgeTest, names, tests
from limbtier.domain.edition import Edition
from limbtier.domain.rule import Conclusions, Rule
from limbtier.domain.vocabulary import Input, Vocabulary
from limbtier.engine.in_force import InForce
from limbtier.foundation.answer_states import NOT_ASKED
from limbtier.foundation.errors import UnsupportedConstruct
from limbtier.governance.proofs.formulas import Formula, all_of, any_of, implied, negated
from limbtier.governance.proofs.measure_terms import Ingredients, measure_terms
from limbtier.governance.proofs.outcome import Outcome, outcome_of
from limbtier.governance.proofs.requests import NUMBERS, Domain, Request, SentAnswer, without
from limbtier.governance.proofs.terms import (
    NEVER_RECORDED,
    Term,
    Truth,
    truth_of,
    unsupported,
)

# What a rule can conclude; a conclusion that is not here is an error, never skipped.
_CONCLUSIONS: Final = frozenset(
    {
        "propose",
        "limit",
        "review",
        "arrange",
        "classify",
        "choose",
        "avoid",
        "caution",
        "instruct",
        "instruct_at",
        "instruct_with",
    }
)
KINDS: Final = ("flag", "choice", "whole_number", "number", "date", "number_series")


@dataclass(frozen=True, slots=True)
class Encoding:
    """An edition over one request. `accepted` are the formulas under which it takes the request at all;
    `not_asked` says for each question with a condition that it is not asked."""

    edition: Edition
    settings: InForce
    request: Request
    accepted: tuple[Formula, ...]
    not_asked: Mapping[str, Formula]
    terms: Mapping[str, Term]
    rules: tuple[Truth, ...]
    outcome: Outcome

    def rule(self, rule_id: str) -> Truth:
        """How a rule reads. Raises KeyError."""
        for rule, truth in zip(self.edition.rules, self.rules, strict=True):
            if rule.id == rule_id:
                return truth
        raise KeyError(rule_id)

    def as_guarded(self) -> Mapping[str, Term]:
        """The facts as guard rails know them: a choice that counts as another is that other."""
        found = dict(self.terms)
        for name, entry in self.edition.vocabulary.inputs.items():
            counting = {one.value: one.counts_as for one in entry.choices if one.counts_as}
            if counting:
                term = found[name]
                words: dict[str, list[Formula]] = {}
                for word, is_it in term.words.items():
                    words.setdefault(counting.get(word, word), []).append(is_it)
                found[name] = Term(
                    term.unknown,
                    {word: any_of(parts) for word, parts in words.items()},
                    term.is_number,
                    term.number,
                )
        return found


def encode(
    edition: Edition,
    settings: InForce,
    request: Request,
    domain: Domain,
    dropped: frozenset[str] = frozenset(),
) -> Encoding:
    """The edition over a request, with the settings in force. Answers to the `dropped` questions count only
    while these are asked; any other answer to a question that is not asked makes the request one that is
    refused. Raises UnsupportedConstruct."""
    if {one.name for one in fields(Conclusions)} != _CONCLUSIONS:
        raise unsupported("Rules conclude something that has no formula.")
    reading = _read_inputs(edition.vocabulary, request, dropped)
    terms, request = reading.terms, reading.request
    terms.update(measure_terms(Ingredients(terms, request, settings.numbers, domain)))
    rules = tuple(_read_rules(edition, range(len(edition.rules)), terms).values())
    return Encoding(
        edition,
        settings,
        request,
        tuple(reading.accepted),
        reading.not_asked,
        terms,
        rules,
        outcome_of(edition, rules, terms, settings),
    )


@dataclass(frozen=True, slots=True)
class RuleReading:
    """How one rule reads over one request, and the formulas under which the edition takes the request."""

    request: Request
    accepted: tuple[Formula, ...]
    truth: Truth


def encode_rule(
    edition: Edition,
    settings: InForce,
    request: Request,
    domain: Domain,
    rule: Rule,
    dropped: frozenset[str] = frozenset(),
) -> RuleReading:
    """As `encode`, of one rule and those that classify what it reads."""
    reading = _read_inputs(edition.vocabulary, request, dropped)
    terms = {
        **reading.terms,
        **measure_terms(Ingredients(reading.terms, reading.request, settings.numbers, domain)),
    }
    wanted = {rule.id}
    needed = set(names(rule.when))
    for other in reversed(edition.rules):  # strata order: what classifies a fact stands before what reads it
        if needed & set(other.then.classify):
            wanted.add(other.id)
            needed |= names(other.when)
    places = [place for place, other in enumerate(edition.rules) if other.id in wanted]
    read = _read_rules(edition, places, terms)
    truth = next(read[place] for place in places if edition.rules[place].id == rule.id)
    return RuleReading(reading.request, tuple(reading.accepted), truth)


def edges_by_name(conditions: Sequence[Condition]) -> dict[str, list[Fraction]]:
    """Every edge that the conditions compare a number with, by the name of the number."""
    found: dict[str, set[Fraction]] = {}
    for condition in conditions:
        for test in tests(condition):
            if isinstance(test, EdgeTest):
                edges = (test.at_least, test.above, test.at_most, test.below)
                found.setdefault(test.name, set()).update(edge for edge in edges if edge is not None)
    return {name: sorted(edges) for name, edges in found.items()}


@dataclass(slots=True)
class _Inputs:
    terms: dict[str, Term]
    request: dict[str, SentAnswer]
    not_asked: dict[str, Formula]
    accepted: list[Formula]


def _read_inputs(vocabulary: Vocabulary, request: Request, dropped: frozenset[str]) -> _Inputs:
    """The term of every input, which questions are not asked, and what makes the request one to be taken."""
    read = _Inputs({}, {}, {}, [])
    for name, entry in vocabulary.inputs.items():
        if entry.kind not in KINDS:
            raise unsupported(f"The input `{name}` is of kind {entry.kind}, which has no formula.")
        sent = request[name]
        words = {word: sent.words[word] for word in entry.values()}
        unknown: Formula = sent.absent
        if entry.asked_when is not None:
            hidden = read.not_asked[name] = negated(_asked(entry, read.terms, vocabulary).possibly)
            if name in dropped:
                sent = without(sent, hidden)
                words = {word: sent.words[word] for word in entry.values()}
            else:
                read.accepted.append(implied(hidden, sent.absent))
            words[NOT_ASKED] = hidden
            unknown = all_of((sent.absent, negated(hidden)))
        number = sent.number if entry.kind in NUMBERS else None
        read.terms[name] = Term(unknown, words, False if number is None else sent.given, number)
        read.request[name] = sent
        read.accepted += _within(entry, sent)
    answered = (negated(read.request[entry.name].absent) for entry in vocabulary.of_scope("limb"))
    read.accepted.append(any_of(answered))
    read.accepted += _dates_in_order(vocabulary, read.request)
    return read


def _asked(entry: Input, terms: Mapping[str, Term], vocabulary: Vocabulary) -> Truth:
    condition = entry.asked_when or ALWAYS
    for name in sorted(names(condition)):
        other = vocabulary.inputs.get(name)
        if name not in terms or other is None or (entry.scope == "person" and other.scope == "limb"):
            raise unsupported(f"`{entry.name}` is asked by `{name}`, which is no input before it.")
    return truth_of(condition, terms)


def _within(entry: Input, sent: SentAnswer) -> list[Formula]:
    """Where the request can hold more than this edition takes, because another edition takes it."""
    if sent.entry == entry:
        return []
    if sent.entry.kind != entry.kind:
        raise unsupported(f"`{entry.name}` is of another kind in the other edition.")
    found = [negated(is_it) for word, is_it in sent.words.items() if word not in entry.values()]
    if entry.kind in NUMBERS:
        scale = 10**sent.entry.places
        low, high = entry.range.at_least, entry.range.at_most
        if low is not None:
            found.append(implied(sent.given, sent.value * low.denominator >= low.numerator * scale))
        if high is not None:
            found.append(implied(sent.given, sent.value * high.denominator <= high.numerator * scale))
        if entry.places < sent.entry.places:
            step = 10 ** (sent.entry.places - entry.places)
            found.append(implied(sent.given, sent.value % step == 0))
    return found


def _dates_in_order(vocabulary: Vocabulary, request: Request) -> list[Formula]:
    """A tier is not on for longer than compression itself; such an answer is refused."""
    names_in_order = ("compression_started_on", "current_tier_since")
    if not all(
        name in vocabulary.inputs and vocabulary.inputs[name].kind == "date" for name in names_in_order
    ):
        return []
    started, since = (request[name] for name in names_in_order)
    return [implied(all_of((started.given, since.given)), since.value <= started.value)]


def _read_rules(edition: Edition, places: Sequence[int], terms: dict[str, Term]) -> dict[int, Truth]:
    """How the rules at these places read, stratum by stratum; the facts that they derive are added to the
    terms. A fact that a rule reads before it is derived is undetermined."""
    rules, strata, facts = edition.rules, edition.strata, edition.vocabulary.facts
    classifying: dict[str, list[int]] = {name: [] for name in facts}
    for place, rule in enumerate(rules):
        for name in rule.then.classify:
            classifying[name].append(place)
    for name, of_fact in classifying.items():
        if not of_fact:
            raise unsupported(f"No rule classifies the fact `{name}`.")
        terms[name] = NEVER_RECORDED
    read: dict[int, Truth] = {}
    for stratum in sorted(set(strata)):
        for place in places:
            if strata[place] == stratum:
                read[place] = _read_rule(rules[place], terms)
        for name, of_fact in classifying.items():
            if max(strata[place] for place in of_fact) == stratum and read.keys() >= set(of_fact):
                terms[name] = _fact([read[place] for place in of_fact])
    return {place: read[place] for place in places}


def _read_rule(rule: Rule, terms: Mapping[str, Term]) -> Truth:
    try:
        return truth_of(rule.when, terms)
    except UnsupportedConstruct as error:
        message = f"Rule `{rule.id}`: {error.diagnostics[0].message}"
        raise unsupported(message, rule.file, rule.line) from error


def _fact(classifying: Sequence[Truth]) -> Term:
    yes = any_of(truth.surely for truth in classifying)
    possible = any_of(truth.possibly for truth in classifying)
    return Term(all_of((possible, negated(yes))), {"yes": yes, "no": negated(possible)})
