"""Hypothesis strategies: conditions over a few invented names, rules in strata, and facts in every state."""

from __future__ import annotations

import functools
from fractions import Fraction

from hypothesis import strategies as st

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.rule import Conclusions, Limit, Rule

CHOICES = ("red", "green", "blue")
TEXT_NAMES = ("colour", "size", "shape")
NUMBER_NAMES = ("weight", "height")
FACT_NAMES = ("noticed", "settled")
EDGES = (
    Fraction(0),
    Fraction(4, 5),
    Fraction("1.3"),
    Fraction("0.795"),
    Fraction(10**9 + 1, 10**9),
    Fraction(60),
)

texts = st.sampled_from([*CHOICES, "not_done", "not_asked"])
numbers = st.one_of(
    st.sampled_from([*EDGES, Fraction(112, 140)]),
    st.sampled_from(EDGES).flatmap(
        lambda edge: st.sampled_from([edge + Fraction(1, 10**9), edge - Fraction(1, 10**9)])
    ),
    st.fractions(min_value=-5, max_value=70, max_denominator=400),
)
facts = st.fixed_dictionaries(
    {},
    optional=dict.fromkeys(TEXT_NAMES, texts)
    | {name: st.one_of(numbers, st.sampled_from(["not_done", "not_asked"])) for name in NUMBER_NAMES},
)

value_tests = st.builds(
    ValueTest,
    st.sampled_from(TEXT_NAMES),
    st.lists(st.sampled_from([*CHOICES, "not_done"]), min_size=1, max_size=3, unique=True).map(tuple),
)
not_done_tests = st.builds(ValueTest, st.sampled_from(NUMBER_NAMES), st.just(("not_done",)))


def _edge_test(
    name: str, low: Fraction | None, strict_low: bool, high: Fraction | None, strict_high: bool
) -> EdgeTest:
    return EdgeTest(
        name,
        at_least=None if strict_low else low,
        above=low if strict_low else None,
        at_most=None if strict_high else high,
        below=high if strict_high else None,
    )


edges = st.one_of(st.none(), st.sampled_from(EDGES))
edge_tests = st.builds(_edge_test, st.sampled_from(NUMBER_NAMES), edges, st.booleans(), edges, st.booleans())


@functools.cache
def conditions(fact_names: tuple[str, ...] = ()) -> st.SearchStrategy[Condition]:
    """Conditions that may read the derived facts named."""
    leaves: list[st.SearchStrategy[Condition]] = [value_tests, edge_tests, not_done_tests]
    if fact_names:
        leaves.append(
            st.builds(
                ValueTest, st.sampled_from(fact_names), st.sampled_from([("yes",), ("no",), ("yes", "no")])
            )
        )
    return st.recursive(
        st.one_of(*leaves),
        lambda inner: st.one_of(
            *(
                st.builds(kind, st.lists(inner, min_size=1, max_size=3).map(tuple))
                for kind in (AllOf, AnyOf, NoneOf)
            )
        ),
        max_leaves=4,
    )


def _rule(number: int, condition: Condition, classify: tuple[str, ...]) -> Rule:
    return Rule(
        f"rule-{number}",
        "",
        condition,
        Conclusions(limit=Limit("mild"), classify=classify),
        "",
        (),
        "",
        "",
        number,
    )


@st.composite
def rules_in_strata(draw: st.DrawFn) -> tuple[list[Rule], list[int]]:
    """Rules that derive `noticed` in stratum 0 and `settled` in stratum 1, and read each only later."""
    rules: list[Rule] = []
    strata: list[int] = []
    for stratum in range(3):
        readable = FACT_NAMES[:stratum]
        count = draw(st.integers(1, 3))
        for place in range(count):
            derives = (FACT_NAMES[stratum],) if stratum < 2 and (place == 0 or draw(st.booleans())) else ()
            rules.append(_rule(len(rules), draw(conditions(readable)), derives))
            strata.append(stratum)
    return rules, strata
