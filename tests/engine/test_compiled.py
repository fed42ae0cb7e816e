"""The compiled rules read exactly as the interpreter, which is the definition, reads them."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given

from limbtier.domain.assessment import Answer
from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.rule import Rule
from limbtier.engine.compiled import compile_conditions, compile_rules
from limbtier.engine.interpreter import APPLIES, DOES_NOT_APPLY, UNDETERMINED, read_rules, truth
from tests.support.conditions import FACT_NAMES, conditions, facts, rules_in_strata


@given(rules_in_strata(), facts)
def test_compiled_rules_name_the_same_rules_and_derive_the_same_facts(
    case: tuple[list[Rule], list[int]], known: dict[str, Answer]
) -> None:
    rules, strata = case
    states, derived = read_rules(rules, strata, FACT_NAMES, known)
    compiled_states, _, compiled_derived = compile_rules(rules, strata).read(known)
    assert list(compiled_states) == states
    assert compiled_derived == derived


@given(rules_in_strata(), facts)
def test_the_states_of_single_tests_are_those_the_interpreter_reads(
    case: tuple[list[Rule], list[int]], known: dict[str, Answer]
) -> None:
    rules, strata = case
    compiled = compile_rules(rules, strata)
    _, states, derived = compiled.read(known)
    assert list(states) == [truth(test, {**known, **derived}) for test in compiled.tests]


@given(conditions(), facts, facts)
def test_learning_an_answer_never_changes_what_was_determined(
    condition: Condition, known: dict[str, Answer], more: dict[str, Answer]
) -> None:
    before = truth(condition, known)
    after = truth(condition, {**more, **known})
    assert before in (UNDETERMINED, after)


@pytest.mark.parametrize(
    ("answer", "expected"),
    [
        (Fraction(112, 140), APPLIES),
        (Fraction(112, 140) - Fraction(1, 10**9), DOES_NOT_APPLY),
        ("not_done", DOES_NOT_APPLY),
        ("not_asked", DOES_NOT_APPLY),
        (None, UNDETERMINED),
    ],
)
def test_an_edge_is_exact_and_meets_only_numbers(answer: Answer | None, expected: int) -> None:
    condition = EdgeTest("abpi", at_least=Fraction("0.8"))
    known: dict[str, Answer] = {} if answer is None else {"abpi": answer}
    assert truth(condition, known) == expected
    assert compile_conditions([condition]).read(known)[0] == bytes([expected])


def test_a_value_test_on_a_question_not_asked_does_not_hold_and_its_negation_does() -> None:
    known: dict[str, Answer] = {"wound_site": "not_asked"}
    on_foot = ValueTest("wound_site", ("foot",))
    assert truth(on_foot, known) == DOES_NOT_APPLY
    assert truth(NoneOf((on_foot,)), known) == APPLIES


def test_false_settles_a_conjunction_and_true_a_disjunction_whatever_is_unknown() -> None:
    unknown, false = ValueTest("colour", ("red",)), ValueTest("size", ("red",))
    true = ValueTest("size", ("green",))
    known: dict[str, Answer] = {"size": "green"}
    assert truth(AllOf((unknown, false)), known) == DOES_NOT_APPLY
    assert truth(AnyOf((unknown, true)), known) == APPLIES
    assert truth(AllOf((unknown, true)), known) == UNDETERMINED
    assert truth(NoneOf((unknown, true)), known) == DOES_NOT_APPLY
