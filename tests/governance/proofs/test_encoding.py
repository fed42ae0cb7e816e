"""The formulas mean what the interpreter and the engine say: for assessments pinned down to the last answer,
and for those that the solver makes up."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

import pytest

from limbtier.domain.assessment import Answer, Assessment
from limbtier.domain.condition import EdgeTest
from limbtier.engine.interpreter import read_rules
from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.proofs.effects import ARRANGED, AVOIDED, CHOSEN, Effects, effects_of, intervals_of
from limbtier.governance.proofs.formulas import Formula
from limbtier.governance.proofs.guard_rails import Deadlines, breach_of
from limbtier.governance.proofs.replay import Replayed
from limbtier.governance.proofs.requests import Answered
from limbtier.governance.proofs.session import Found
from limbtier.governance.proofs.terms import Term, Truth
from limbtier.governance.proofs.workbench import Workbench
from limbtier.use_cases.decide import ReadyRules
from tests.governance.proofs.generated_editions import generated
from tests.support.assessments import AssessmentMaker

CORE_ASSESSMENTS = 100
GENERATED_EDITIONS = 12
ASSESSMENTS_OF_EACH = 20


@pytest.fixture(scope="module")
def bench(core: PreparedEdition, rules: ReadyRules) -> Workbench:
    return Workbench(core, rules.calendars)


def test_the_formulas_read_the_core_edition_as_the_engine_does(bench: Workbench) -> None:
    maker, formulas = AssessmentMaker(bench.prepared), formulas_of(bench)
    for seed in range(CORE_ASSESSMENTS):
        check_pinned(bench, formulas, maker.make(seed))


@pytest.mark.parametrize("seed", range(GENERATED_EDITIONS))
def test_the_formulas_read_a_generated_edition_as_the_engine_does(
    seed: int, core: PreparedEdition, rules: ReadyRules
) -> None:
    bench = Workbench(generated(seed, core), rules.calendars)
    maker, formulas = AssessmentMaker(bench.prepared), formulas_of(bench)
    checked = 0
    for place in range(ASSESSMENTS_OF_EACH):
        try:
            assessment = maker.make(1000 * seed + place)
        except ValueError:
            continue  # its answers contradict one another, so nobody can send it
        check_pinned(bench, formulas, assessment)
        checked += 1
    assert checked


@pytest.mark.parametrize("seed", range(GENERATED_EDITIONS))
def test_the_engine_reads_what_the_solver_makes_up_as_the_solver_does(
    seed: int, core: PreparedEdition, rules: ReadyRules
) -> None:
    bench = Workbench(generated(seed, core), rules.calendars)
    chance = random.Random(seed)
    formulas = formulas_of(bench)
    found = sum(check_made_up(bench, formulas, chance) for _ in range(8))
    assert found, "no question to the solver had an answer that can be sent"


def test_the_engine_reads_what_the_solver_makes_up_of_the_core_edition(bench: Workbench) -> None:
    chance, formulas = random.Random(5), formulas_of(bench)
    assert sum(check_made_up(bench, formulas, chance) for _ in range(40)) > 10


@dataclass(frozen=True)
class Formulas:
    """What is worked out once for an edition."""

    effects: Effects
    breaches: Mapping[str, Formula]


def formulas_of(bench: Workbench) -> Formulas:
    rails = bench.prepared.guard_rails.rails
    deadlines = Deadlines(bench, counted=True)
    return Formulas(
        effects_of(bench.encoding, intervals_of(bench.encoding)),
        {rail.id: breach_of(bench, rail, deadlines) for rail in rails},
    )


def check_pinned(bench: Workbench, formulas: Formulas, assessment: Assessment) -> None:
    """Every rule, fact and part of the outcome of one assessment."""
    answers = as_sent(bench, assessment)
    with bench.session.supposing(*bench.domain.pinned(bench.request, answers)):
        found = bench.session.find(True)
    assert isinstance(found, Found), f"the formulas refuse what the engine takes: {answers}"
    compare(bench, formulas, found, bench.replay(answers))


def check_made_up(bench: Workbench, formulas: Formulas, chance: random.Random) -> bool:
    """Ask for an assessment with two rules in chosen states; whether there is one that can be sent."""
    truths = chance.sample(bench.encoding.rules, 2)
    found = bench.session.find(*(chance.choice((one.surely, one.undetermined)) for one in truths))
    if not isinstance(found, Found) or not found.exact:
        return False
    compare(bench, formulas, found, bench.replay(found.answers(bench.request)))
    return True


def as_sent(bench: Workbench, assessment: Assessment) -> dict[str, Answered]:
    """The answers that were given, dates as days ago."""
    given = {**assessment.person, **assessment.limbs["left"]}
    return {
        name: (assessment.assessed_on - answer).days if isinstance(answer, date) else answer
        for name, answer in given.items()
        if answer != "not_asked"
    }


def compare(bench: Workbench, formulas: Formulas, found: Found, replayed: Replayed) -> None:
    """What the solver's model says of an assessment, and what the engine and the interpreter say."""
    edition, encoding, decision = bench.edition, bench.encoding, replayed.decision
    about = f"{replayed.request}"
    assert rule_states(encoding.rules, found) == list(decision.trace.rules), about
    facts = {
        name: answer for name, answer in decision.trace.facts.items() if name not in edition.vocabulary.facts
    }
    states, derived = read_rules(edition.rules, edition.strata, tuple(edition.vocabulary.facts), facts)
    assert rule_states(encoding.rules, found) == states, about
    for name, term in encoding.terms.items():
        compare_fact(term, found, derived.get(name, facts.get(name)), f"{name} in {about}")
    compare_outcome(bench, found, replayed, about)
    compare_effects(bench, formulas, found, replayed, about)


def rule_states(rules: Sequence[Truth], found: Found) -> list[int]:
    return [found.holds(truth.surely) + found.holds(truth.possibly) for truth in rules]


def compare_fact(term: Term, found: Found, answer: Answer | None, about: str) -> None:
    """Exactly one state of the fact holds, and it is the one that the engine has."""
    words = [word for word, is_it in term.words.items() if found.holds(is_it)]
    assert len(words) + found.holds(term.unknown) + found.holds(term.is_number) <= 1, about
    assert found.holds(term.unknown) == (answer is None), about
    assert words == ([answer] if isinstance(answer, str) else []), about
    if not isinstance(answer, Fraction):
        return
    assert found.holds(term.is_number), about
    number = term.number
    assert number is not None
    beside = Fraction(1, 1000)
    for edge, at_least in ((answer, True), (answer - beside, True), (answer + beside, False)):
        assert found.holds(number.meets(EdgeTest("", at_least=edge))) == at_least, about
    assert found.holds(number.meets(EdgeTest("", at_most=answer))), about
    assert not found.holds(number.meets(EdgeTest("", above=answer))), about


def compare_outcome(bench: Workbench, found: Found, replayed: Replayed, about: str) -> None:
    outcome, decision, ranks = bench.encoding.outcome, replayed.decision, bench.prepared.ranks
    for at_least, tier in (
        (outcome.tiers.given, decision.tier),
        (outcome.tiers.highest, decision.highest_possible_tier),
        (outcome.tiers.target, decision.target_tier),
    ):
        assert [found.holds(one) for one in at_least] == [rank <= ranks[tier] for rank in ranks.values()], (
            about
        )
    assert found.holds(outcome.tiers.determined) == decision.determined, about
    held = [name for name, is_it in outcome.dispositions.items() if found.holds(is_it)]
    assert held == [decision.disposition], about
    days = min(days for days in outcome.review.amounts if found.holds(outcome.review.within(days)))
    assert 24 * days == decision.review.within_hours, about


def compare_effects(
    bench: Workbench, formulas: Formulas, found: Found, replayed: Replayed, about: str
) -> None:
    decision = replayed.decision
    said = [effect for effect, is_it in formulas.effects.items() if found.holds(is_it)]
    for sort, names in ((CHOSEN, decision.chosen), (AVOIDED, decision.avoided)):
        assert {one.what for one in said if one.sort == sort} == {one.name for one in names}, about
    arranged = {one.what for one in said if one.sort == ARRANGED}
    assert arranged == {one.what for one in decision.arrangements if not one.pending}, about
    for rail in bench.prepared.guard_rails.rails:
        breaks = found.holds(formulas.breaches[rail.id])
        on_another_day = any(check.require.review_within or check.require.arranged for check in rail.checks)
        assert breaks == (rail.id in replayed.broken) or (breaks and on_another_day), (rail, about)
