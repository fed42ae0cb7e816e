"""What the network refuses to carry, and how codes and branches are written."""

from __future__ import annotations

import itertools
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.rule import Conclusions, Rule
from limbtier.engine.matcher_encoding import Encoding, comparisons
from limbtier.engine.matcher_network import MOST_FIELDS, Network, name_hash, safe_labels
from limbtier.foundation.errors import InvalidRuleFiles

HOLDS = {
    "$eq": lambda code, other: code == other,
    "$neq": lambda code, other: code != other,
    "$gte": lambda code, other: code >= other,
    "$lte": lambda code, other: code <= other,
}


def rules_of(*when: Condition) -> list[Rule]:
    return [
        Rule(f"r-{i}", "", one, Conclusions(), "", (), "", "rules.yaml", i + 1) for i, one in enumerate(when)
    ]


def yes(name: str) -> ValueTest:
    return ValueTest(name, ("yes",))


@given(
    st.integers(2, 12).flatmap(
        lambda size: st.tuples(st.just(size), st.sets(st.integers(0, size - 1), min_size=1))
    )
)
def test_comparisons_hold_for_exactly_the_codes_they_are_made_of(case: tuple[int, set[int]]) -> None:
    size, codes = case
    few = comparisons(frozenset(codes), size)
    assert {code for code in range(size) if all(HOLDS[sign](code, other) for sign, other in few)} == codes


def test_the_hash_is_32_bit_fnv_1a() -> None:
    """Vectors published with the algorithm (FNV-1a 32-bit: "", "a", "foobar"; from memory)."""
    assert [name_hash(text) for text in ("", "a", "foobar")] == [0x811C9DC5, 0xE40C292C, 0xBF9CF968]


def test_no_two_labels_share_a_hash() -> None:
    labels = list(safe_labels())
    hashes = {name_hash(name) for name in (*labels, "id", "sid", "$s", "$and", "$eq", "g")}
    assert len(hashes) == len(labels) + 6
    assert len(labels) > MOST_FIELDS


def test_too_many_names_are_refused() -> None:
    Network(rules_of(*(yes(f"n_{i}") for i in range(MOST_FIELDS))))
    with pytest.raises(InvalidRuleFiles, match="251 names"):
        Network(rules_of(*(yes(f"n_{i}") for i in range(MOST_FIELDS + 1))))


def test_a_rule_with_too_many_ways_is_refused_where_it_stands() -> None:
    lists = tuple(AnyOf((yes(f"a_{i}"), yes(f"b_{i}"))) for i in range(10))
    with pytest.raises(InvalidRuleFiles) as refused:
        Network(rules_of(yes("c"), AllOf(lists)))
    (finding,) = refused.value.diagnostics
    assert (finding.code, finding.file, finding.line) == ("too-many-branches", "rules.yaml", 2)
    assert "`r-1`" in finding.message


def test_none_of_long_mappings_is_refused_when_it_has_too_many_ways() -> None:
    mappings = tuple(AllOf((yes(f"a_{i}"), yes(f"b_{i}"), yes(f"c_{i}"))) for i in range(6))
    with pytest.raises(InvalidRuleFiles, match="too-many-branches"):
        Network(rules_of(NoneOf(mappings)))


def test_an_edition_with_too_many_branches_is_refused() -> None:
    pairs = itertools.islice(itertools.combinations(range(60), 2), 1100)
    with pytest.raises(InvalidRuleFiles, match="edition-too-large"):
        Network(rules_of(*(AllOf((yes(f"n_{a}"), yes(f"n_{b}"))) for a, b in pairs)))


def test_a_branch_with_too_many_comparisons_is_refused() -> None:
    with pytest.raises(InvalidRuleFiles, match="edition-too-large"):
        Network(rules_of(AllOf(tuple(yes(f"n_{i}") for i in range(201)))))


def test_values_of_one_name_in_a_list_are_one_branch() -> None:
    apart = AnyOf((ValueTest("a", ("x",)), ValueTest("a", ("y",))))
    together = ValueTest("a", ("x", "y"))
    assert len(Network(rules_of(apart, together)).entries) == len(Network(rules_of(together)).entries)


def test_the_code_of_a_number_is_its_position_among_the_edges() -> None:
    encoding = Encoding(
        [EdgeTest("n", at_least=Fraction(1)), EdgeTest("n", below=Fraction("2.5"))], iter(["n"])
    )
    numbers = ["0", "1", "1.5", "2.5", "2.50001"]
    codes = [int(encoding.write({"n": Fraction(number)}).rpartition(":")[2]) for number in numbers]
    assert codes == sorted(codes)
    assert len(set(codes)) == 5
