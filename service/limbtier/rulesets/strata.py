"""Orders rules so that a rule which reads a derived fact comes after every rule that classifies it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from limbtier.domain.condition import names
from limbtier.domain.rule import Rule


def stratify(rules: Sequence[Rule], facts: Iterable[str]) -> tuple[int, ...] | list[str]:
    """The stratum of each rule, from 0; or, when facts depend on one another in a ring, the ring of facts,
    the first repeated at the end.

    A rule stands in the first stratum where all facts that it reads are known; a fact is known one stratum
    above the highest of the rules that classify it.
    """
    reads = {rule.id: sorted(names(rule.when) & set(facts)) for rule in rules}
    needs = fact_needs(rules, facts)
    levels: dict[str, int] = {}
    ring = _levels(needs, levels)
    if ring:
        return ring
    return tuple(max((levels[fact] for fact in reads[rule.id]), default=0) for rule in rules)


def fact_needs(rules: Sequence[Rule], facts: Iterable[str]) -> dict[str, list[str]]:
    """For each fact the other facts that the rules which classify it read."""
    known = list(facts)
    needs: dict[str, set[str]] = {fact: set() for fact in known}
    for rule in rules:
        for fact in rule.then.classify:
            if fact in needs:
                needs[fact] |= names(rule.when) & needs.keys()
    return {fact: sorted(others) for fact, others in needs.items()}


def _levels(needs: Mapping[str, Sequence[str]], levels: dict[str, int]) -> list[str]:
    """Fills in the stratum from which each fact is known; returns a ring of facts if there is one."""
    for start in needs:
        path: list[str] = []
        waiting = [(start, iter(needs[start]))]
        while waiting:
            fact, others = waiting[-1]
            if fact not in path:
                path.append(fact)
            for other in others:
                if other in path:
                    return [*path[path.index(other) :], other]
                if other not in levels:
                    waiting.append((other, iter(needs[other])))
                    break
            else:
                levels[fact] = 1 + max((levels[other] for other in needs[fact]), default=0)
                path.pop()
                waiting.pop()
    return []
