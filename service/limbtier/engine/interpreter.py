"""The definition: how a condition reads, and which rules apply. Slow and obvious on purpose.

Everything faster (`compiled`) or independent (`matcher`) is tested against this module. Truth has
three values (strong Kleene): a test on a fact that was not recorded is undetermined.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from limbtier.domain.assessment import Answer
from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.rule import Rule

DOES_NOT_APPLY, UNDETERMINED, APPLIES = 0, 1, 2


def truth(condition: Condition, facts: Mapping[str, Answer]) -> int:
    """How a condition reads: 0 it does not hold, 1 undetermined, 2 it holds."""
    match condition:
        case AllOf(parts):
            return min((truth(part, facts) for part in parts), default=APPLIES)
        case AnyOf(parts):
            return max((truth(part, facts) for part in parts), default=DOES_NOT_APPLY)
        case NoneOf(parts):
            return APPLIES - max((truth(part, facts) for part in parts), default=DOES_NOT_APPLY)
    if condition.name not in facts:
        return UNDETERMINED
    answer = facts[condition.name]
    holds = (
        meets_edges(condition, answer) if isinstance(condition, EdgeTest) else meets_value(condition, answer)
    )
    return APPLIES if holds else DOES_NOT_APPLY


def meets_value(test: ValueTest, answer: Answer) -> bool:
    """Whether the answer is one of the values; `not_asked` is never one."""
    return isinstance(answer, str) and answer in test.values


def meets_edges(test: EdgeTest, answer: Answer) -> bool:
    """Whether a number lies within the edges, exactly; what is not a number does not."""
    return (
        isinstance(answer, Fraction)
        and (test.at_least is None or answer >= test.at_least)
        and (test.above is None or answer > test.above)
        and (test.at_most is None or answer <= test.at_most)
        and (test.below is None or answer < test.below)
    )


def read_rules(
    rules: Sequence[Rule], strata: Sequence[int], fact_names: Sequence[str], facts: Mapping[str, Answer]
) -> tuple[list[int], dict[str, Answer]]:
    """How every rule reads, and the derived facts: `yes` when a classifying rule applies, else unknown
    when one is undetermined, else `no`. Rules that read a derived fact stand in a later stratum."""
    known = dict(facts)
    states = [DOES_NOT_APPLY] * len(rules)
    derived: dict[str, Answer] = {}
    strongest = dict.fromkeys(fact_names, DOES_NOT_APPLY)
    last_stratum = {
        name: max((strata[i] for i, rule in enumerate(rules) if name in rule.then.classify), default=-1)
        for name in fact_names
    }
    for stratum in range(-1, max(strata, default=0) + 1):
        for place, rule in enumerate(rules):
            if strata[place] == stratum:
                states[place] = truth(rule.when, known)
                for name in rule.then.classify:
                    strongest[name] = max(strongest[name], states[place])
        for name in fact_names:
            if last_stratum[name] == stratum and strongest[name] != UNDETERMINED:
                known[name] = derived[name] = "yes" if strongest[name] == APPLIES else "no"
    return states, derived
