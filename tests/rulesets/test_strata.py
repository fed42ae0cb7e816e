"""Rules that classify facts come before rules that read them."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from limbtier.domain.condition import AllOf, ValueTest, names
from limbtier.domain.rule import Conclusions, Rule
from limbtier.rulesets.strata import stratify

FACTS = ("a", "b", "c", "d", "e")


def rule(name: str, reads: tuple[str, ...], classifies: tuple[str, ...]) -> Rule:
    when = AllOf(tuple(ValueTest(fact, ("yes",)) for fact in reads))
    return Rule(name, name, when, Conclusions(classify=classifies), "made up", (), "made up", "file.yaml", 1)


RULES = st.lists(
    st.tuples(st.lists(st.sampled_from(FACTS), max_size=2), st.lists(st.sampled_from(FACTS), max_size=2)),
    max_size=8,
).map(lambda pairs: [rule(f"r{n}", tuple(reads), tuple(gives)) for n, (reads, gives) in enumerate(pairs)])


@given(RULES)
def test_a_rule_stands_above_every_rule_that_classifies_what_it_reads_or_there_is_a_ring(
    rules: list[Rule],
) -> None:
    strata = stratify(rules, FACTS)
    if isinstance(strata, list):
        assert strata[0] == strata[-1]
        for fact, needed in pairwise(strata):
            assert any(fact in entry.then.classify and needed in names(entry.when) for entry in rules)
        return
    for reader, above in zip(rules, strata, strict=True):
        for giver, below in zip(rules, strata, strict=True):
            if set(giver.then.classify) & names(reader.when):
                assert below < above


@given(RULES)
def test_no_stratum_is_left_out(rules: list[Rule]) -> None:
    strata = stratify(rules, FACTS)
    if not isinstance(strata, list):
        used = {fact for entry in rules for fact in entry.then.classify}
        for entry, stratum in zip(rules, strata, strict=True):
            if not names(entry.when) & used:
                assert stratum <= 1


def test_the_stratum_of_a_rule_is_one_above_the_highest_it_needs() -> None:
    rules = [
        rule("r0", (), ("a",)),
        rule("r1", ("a",), ("b",)),
        rule("r2", ("a", "b"), ()),
        rule("r3", (), ()),
    ]
    assert stratify(rules, FACTS) == (0, 1, 2, 0)
