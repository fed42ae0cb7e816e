from dataclasses import replace
from fractions import Fraction

from limbtier.domain.rule import Conclusions
from limbtier.governance.checks.cases.edge_without_case import CHECK
from limbtier.governance.checks.context import DecidedCase
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import and_rule, edges


def cases(bench: Bench, *numbers: str) -> tuple[DecidedCase, ...]:
    one = bench.context.cases[0]
    facts = ({**one.facts, "arm_pressure": Fraction(number)} for number in numbers)
    return (*bench.context.cases, *(replace(one, facts=each) for each in facts))


def test_an_edge_needs_a_case_exactly_at_it_and_one_that_reads_otherwise(bench: Bench) -> None:
    note = Conclusions(caution=("Made up.",))
    edition = and_rule(bench.core, edges("arm_pressure", at_least="251"), note)
    [(_, _, message)] = bench.said(CHECK, edition, cases=cases(bench, "250", "252"))
    assert "at exactly 251" in message
    assert bench.new(CHECK, edition, cases=cases(bench, "251")) == []  # the core's own cases lie below


def test_an_edge_with_cases_only_on_its_own_side_is_found(bench: Bench) -> None:
    edition = and_rule(bench.core, edges("arm_pressure", below="251"), Conclusions(caution=("Made up.",)))
    only_above = cases(bench, "251", "260")[-2:]
    said = [message for _, _, message in bench.said(CHECK, edition, cases=only_above)]
    assert sum("`arm_pressure` on the other side of 251" in message for message in said) == 1
