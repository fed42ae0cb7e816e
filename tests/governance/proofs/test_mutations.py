"""Seeded unsafe edits of the core edition are caught, each by what the table names. These are some of them;
`python -m tests.benchmarks.proofs --mutations` runs all and prints everything that catches each."""

from __future__ import annotations

import pytest

from limbtier.governance.proofs.prove import verdicts
from limbtier.governance.proofs.verdict import Counterexample
from limbtier.governance.proofs.workbench import Workbench
from limbtier.use_cases.decide import ReadyRules
from tests.governance.proofs.catching import checks, differing_cases, prepared_mutant
from tests.governance.proofs.mutations import EDITED, MUTATIONS, Mutation

REPRESENTATIVE = (
    "suspected-dvt no longer limits",
    "sepsis has no rule",
    "severe-ischaemia begins at 0.4",
    "severe-ischaemia takes in 0.6 itself",
    "reduced-supply-no-advice leaves 0.6 itself out",
    "reduced-supply-no-advice has its edges swapped",
    "not-measured-no-advice waits for a lift that it does not read",
    "the full assessment may take 21 days",
    "an arm pressure of 0 is taken",
    "nyha_class is asked only when heart failure is suspected",
    "an undetermined tier is reviewed after 14 days",
    "no safety-net advice",
    "paste-allergy avoids nothing",
    "reduced-supply allows stretching bandages",
)


@pytest.mark.parametrize(
    "mutation", [one for one in MUTATIONS if one.name in REPRESENTATIVE], ids=lambda one: one.name
)
def test_a_seeded_unsafe_edit_is_caught(mutation: Mutation, rules: ReadyRules) -> None:
    core = rules.editions[EDITED]
    prepared = prepared_mutant(mutation.edit(core.edition), core.guard_rails)
    found: object
    match mutation.catcher:
        case "proof":
            bench = Workbench(prepared, rules.calendars)
            verdict = next(one for one in verdicts(bench) if one.statement.id == mutation.caught_by)
            assert isinstance(verdict, Counterexample)
            return
        case "check":
            found = list(checks(Workbench(prepared, rules.calendars)))
        case "case":
            found = differing_cases(prepared, rules.calendars)
    assert mutation.caught_by in found


def test_the_table_has_many_edits_each_with_a_name_of_its_own(rules: ReadyRules) -> None:
    core = rules.editions[EDITED]
    assert len(MUTATIONS) >= 40
    assert len({mutation.name for mutation in MUTATIONS}) == len(MUTATIONS)
    assert {one.name for one in MUTATIONS} >= set(REPRESENTATIVE)
    for mutation in MUTATIONS:
        assert mutation.edit(core.edition) != core.edition
