"""That every danger sign of the vocabulary is heard: answered with yes, it withholds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from limbtier.governance.proofs.changed_requests import dependents
from limbtier.governance.proofs.formulas import Formula, all_of, any_of
from limbtier.governance.proofs.replay import Replayed
from limbtier.governance.proofs.terms import NEVER_RECORDED
from limbtier.governance.proofs.verdict import Proved, Statement, Verdict
from limbtier.governance.proofs.witness import Answers
from limbtier.governance.proofs.workbench import Clock, Workbench

HEARD: Final = Statement(
    "danger-signs-heard",
    "danger signs",
    "Every question that is marked as a danger sign withholds when it is answered with yes, as long as "
    "nothing that is asked because of it was answered.",
)


def prove_danger_signs_heard(bench: Workbench) -> Verdict:
    """Each danger sign in turn: with yes nothing is put on, and the fact `danger_sign` is not no."""
    clock = Clock()
    inputs = bench.edition.vocabulary.inputs
    fact = bench.encoding.terms.get("danger_sign", NEVER_RECORDED)
    for entry in inputs.values():
        if not entry.danger_sign or "yes" not in entry.values():
            continue
        follow_up = dependents(bench.edition.vocabulary, (entry.name,)) - {entry.name}
        unheard: Formula = all_of(
            (
                bench.request[entry.name].words["yes"],
                *(bench.request[name].absent for name in sorted(follow_up)),
                any_of((bench.encoding.outcome.tiers.given[1], fact.word("no"))),
            )
        )
        confirm = _Unheard(bench, entry.name, follow_up)
        verdict = bench.settle(HEARD, unheard, confirm)
        if not isinstance(verdict, Proved):
            return verdict
    return Proved(HEARD, clock.seconds())


class _Unheard:
    """Whether the engine, too, gives a tier although the danger sign is there."""

    def __init__(self, bench: Workbench, name: str, follow_up: frozenset[str]) -> None:
        self._bench, self._name, self._follow_up = bench, name, follow_up

    def __call__(self, answers: Answers) -> Sequence[Replayed] | None:
        if answers.get(self._name) != "yes" or self._follow_up & answers.keys():
            return None
        replayed = self._bench.replay(answers)
        lowest = self._bench.prepared.tier_names[0]
        heard = replayed.decision.tier == lowest and replayed.decision.trace.facts.get("danger_sign") != "no"
        return None if heard else (replayed,)
