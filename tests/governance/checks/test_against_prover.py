"""What the structure of a condition shows, the prover shows too: two independent readings of tests."""

from __future__ import annotations

import random
from collections.abc import Iterator
from fractions import Fraction

import pytest

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.vocabulary import Input
from limbtier.governance.checks.conditions import implies, narrowed
from limbtier.governance.proofs.formulas import all_of, negated
from limbtier.governance.proofs.session import Found, NoneFound
from limbtier.governance.proofs.terms import truth_of
from limbtier.governance.proofs.workbench import Workbench
from tests.governance.checks.conftest import Bench

FEW = (
    "wound",
    "exudate",
    "oedema",
    "oedema_months",
    "pain_type",
    "pain_score",
    "nyha_class",
    "leaking",
    "age_years",
)


@pytest.fixture(scope="module")
def solver(bench: Bench) -> Workbench:
    """Return the core edition as formulas."""
    return Workbench(bench.prepared, bench.rules.calendars)


def one_test(chance: random.Random, entry: Input) -> Condition:
    values = entry.values()
    if entry.kind in ("flag", "choice") or (values and chance.random() < 0.2):
        return ValueTest(entry.name, tuple(chance.sample(values, chance.randint(1, min(2, len(values))))))
    low, high = sorted(Fraction(chance.randint(0, 12)) for _ in range(2))
    keys = (
        chance.choice((("at_least", low), ("above", low))),
        chance.choice((("at_most", high), ("below", high))),
    )
    return EdgeTest(entry.name, **dict(chance.sample(keys, chance.randint(1, 2))))


def generated(bench: Bench, number: int) -> Iterator[Condition]:
    """Conditions on a few inputs that hang on one another; the same every time."""
    chance = random.Random(7)
    inputs = bench.core.vocabulary.inputs
    for _ in range(number):
        chosen = [one_test(chance, inputs[chance.choice(FEW)]) for _ in range(4)]
        kind = chance.choice(
            (AnyOf, NoneOf) if not any(isinstance(t, EdgeTest) for t in chosen) else (AnyOf,)
        )
        yield AllOf(
            (*chosen[: chance.randint(1, 2)], *([kind(tuple(chosen[2:]))] if chance.random() < 0.5 else []))
        )


def test_what_contradicts_itself_by_structure_holds_for_no_assessment(
    bench: Bench, solver: Workbench
) -> None:
    excluded = [one for one in generated(bench, 600) if narrowed(bench.core, one, {}) is None]
    assert len(excluded) > 20
    for condition in excluded:
        answer = solver.session.find(truth_of(condition, solver.encoding.terms).surely)
        assert isinstance(answer, NoneFound), condition


def test_most_of_what_does_not_contradict_itself_by_structure_holds_for_some(
    bench: Bench, solver: Workbench
) -> None:
    possible = [one for one in generated(bench, 120) if narrowed(bench.core, one, {}) is not None]
    found = [solver.session.find(truth_of(one, solver.encoding.terms).surely) for one in possible]
    assert sum(isinstance(answer, Found) for answer in found) >= 0.9 * len(possible) > 50


def test_what_one_condition_implies_by_structure_holds_wherever_it_does(
    bench: Bench, solver: Workbench
) -> None:
    conditions = list(generated(bench, 120))
    pairs = [
        (one, other)
        for place, one in enumerate(conditions)
        for other in conditions[:place]
        if one != other and implies(one, other)
    ]
    assert len(pairs) > 10
    for one, other in pairs[:60]:
        here, there = (truth_of(each, solver.encoding.terms) for each in (one, other))
        for formula in (
            all_of((here.surely, negated(there.surely))),
            all_of((here.possibly, negated(there.possibly))),
        ):
            assert isinstance(solver.session.find(formula), NoneFound), (one, other)
