"""Orders rules so that a rule which reads a derived fact comes after every rule that classifies it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from limbtier.domain.condition import names
from limbtier.domain.rule import Rule


def stratify(rules: Sequence[Rule], facts: Iterable[str]) -> tuple[int, ...] | list[str]:
    """The stratum of each rule, from 0; or, when facts depend on one another in a ring, the ring of facts,
    the first repeated at the end.

    A rule stands in the first stratum where all facts that it reads are known.
    """
    known_from = fact_strata(rules, facts)
    if isinstance(known_from, list):
        return known_from
    return tuple(
        max((known_from[fact] for fact in names(rule.when) if fact in known_from), default=0)
        for rule in rules
    )


def fact_strata(rules: Sequence[Rule], facts: Iterable[str]) -> dict[str, int] | list[str]:
    """The stratum from which each fact is known, lowest first; or a ring of facts.

    It is one above the highest stratum of the rules that classify the fact.
    """
    needs = _needs(rules, facts)
    strata: dict[str, int] = {}
    for start in needs:
        if start in strata:
            continue
        path: dict[str, None] = {start: None}
        waiting = [(start, iter(needs[start]))]
        while waiting:
            fact, others = waiting[-1]
            other = next((other for other in others if other not in strata), None)
            if other is None:
                strata[fact] = 1 + max((strata[need] for need in needs[fact]), default=0)
                waiting.pop()
                path.pop(fact)
            elif other in path:
                ring = list(path)
                return [*ring[ring.index(other) :], other]
            else:
                path[other] = None
                waiting.append((other, iter(needs[other])))
    return dict(sorted(strata.items(), key=lambda pair: pair[1]))


def _needs(rules: Sequence[Rule], facts: Iterable[str]) -> Mapping[str, Sequence[str]]:
    """For each fact the facts that the rules which classify it read."""
    needs: dict[str, set[str]] = {fact: set() for fact in facts}
    for rule in rules:
        for fact in rule.then.classify:
            if fact in needs:
                needs[fact] |= names(rule.when) & needs.keys()
    return {fact: sorted(others) for fact, others in needs.items()}
