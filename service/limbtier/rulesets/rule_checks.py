"""Checks over all rules of an edition together: derived facts, and whether a limit can be lifted at all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from types import MappingProxyType
from typing import Final

from limbtier.domain.condition import names
from limbtier.measures.registry import MEASURES
from limbtier.rulesets.findings import Findings, Place
from limbtier.rulesets.read_rules import EditionNames, RuleRead
from limbtier.rulesets.read_vocabulary import GOOD_REVIEW
from limbtier.rulesets.shapes import word_list
from limbtier.rulesets.strata import fact_strata

# What a limit that a good review lifts must test, directly: else doing well could not lift it.
LIFTED_BY_GOOD_REVIEW: Final = ("first_application", "current_tier", "tolerance")


def check_rules(
    rules: Sequence[RuleRead],
    edition: EditionNames,
    found: Findings,
    changed: Mapping[str, Place] = MappingProxyType({}),
) -> None:
    """Name facts that nothing classifies or that hang on one another, and `until` that cannot come true.

    `changed` says where a rule that classified a fact of the base was replaced or withdrawn.
    """
    facts = [name for name, entry in edition.testable.known.items() if entry.is_fact]
    classified = {name for read in rules for name in read.classify}
    all_told = all(read.classify_sound for read in rules) and classified <= edition.testable.known.keys()
    if edition.rules.complete and all_told:
        for fact in facts:
            if fact not in classified:
                message = f"No rule classifies the fact `{fact}`, so it could never be `yes`."
                place, advice = edition.testable.places.get(fact), "Classify it in a rule, or take it out."
                if place is None:
                    place, advice = changed[fact], "Keep the rule of the base, or let another classify it."
                found.add("fact-not-classified", place, message, advice)
    strata = fact_strata([read.rule for read in rules], facts)
    if isinstance(strata, list):
        _name_ring(strata, rules, found)
    sources = {} if isinstance(strata, list) else _inputs_behind(rules, edition, strata)
    for read in rules:
        _check_until(read, edition, sources, found)


def _name_ring(ring: Sequence[str], rules: Sequence[RuleRead], found: Findings) -> None:
    """Name a ring of facts at a rule of it, rather one of this edition than one of its base."""
    links = [
        (read, fact)
        for fact, needed in pairwise(ring)
        for read in rules
        if fact in read.classify and needed in names(read.rule.when)
    ]
    read, fact = next((link for link in links if not link[0].of_base), links[0])
    message = f"Facts hang on one another in a ring: {' needs '.join(f'`{fact}`' for fact in ring)}."
    advice = "Let one of them be classified without reading the next."
    found.add("fact-ring", read.classify[fact], message, advice)


def _inputs_behind(
    rules: Sequence[RuleRead], edition: EditionNames, facts: Iterable[str]
) -> dict[str, frozenset[str]]:
    """For each testable name the inputs it comes from; `facts` come in the order of their strata. A fact
    classified by a rule whose tests could not be read is left out, so that nothing is concluded from it."""
    found: dict[str, frozenset[str]] = {
        name: frozenset({name}) for name, entry in edition.testable.known.items() if entry.is_input
    }
    for measure in MEASURES:
        found[measure.name] = frozenset().union(
            *(found.get(name, frozenset()) for name in measure.ingredients)
        )
    classifying: dict[str, list[RuleRead]] = {fact: [] for fact in facts}
    for read in rules:
        for fact in read.classify:
            if fact in classifying:
                classifying[fact].append(read)
    for fact, of_fact in classifying.items():
        read_names = frozenset().union(*(names(read.rule.when) for read in of_fact))
        if all(read.when_sound for read in of_fact) and read_names <= found.keys():
            found[fact] = frozenset().union(*(found[name] for name in read_names))
    return found


def _check_until(
    read: RuleRead, edition: EditionNames, sources: Mapping[str, frozenset[str]], found: Findings
) -> None:
    limit = read.rule.then.limit
    if limit is None or limit.until is None or limit.until not in edition.lifts.known:
        return
    tested = names(read.rule.when)
    if limit.until == GOOD_REVIEW:
        if read.when_sound and not tested & set(LIFTED_BY_GOOD_REVIEW):
            message = "A good review cannot lift this limit: the rule does not see it."
            advice = f"Test one of {word_list(LIFTED_BY_GOOD_REVIEW)}, or name another `until`."
            found.add("good-review-not-tested", read.until, message, advice)
    elif not read.arranges:
        message = f"The limit waits for `{limit.until}`, and the rule arranges nothing that could bring it."
        found.add("until-arranges-nothing", read.until, message, "Add `arrange`, or take `until` out.")
    lifting = set(edition.lifts.known[limit.until])
    if not (read.when_sound and lifting and tested <= sources.keys()):
        return
    behind = frozenset().union(*(sources[name] for name in tested))
    if not behind & lifting:
        message = f"`{limit.until}` cannot lift this limit: the rule reads none of its inputs."
        advice = f"Test one of {word_list(sorted(lifting))}, or name another `until`."
        found.add("until-reads-nothing", read.until, message, advice)
