"""The prover as checks ask it: each question for every period in which the settings of the edition hold."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cached_property
from typing import Final

from limbtier.domain.decision import DISPOSITIONS
from limbtier.engine.in_force import NO_REVIEW
from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.checks.context import NotTold, Subsumption, Told
from limbtier.governance.checks.lists.tier_without_material import HOLDING
from limbtier.governance.proofs.effects import material_chosen, technique_shown
from limbtier.governance.proofs.formulas import Formula, all_of, any_of, negated
from limbtier.governance.proofs.outcome import review_of
from limbtier.governance.proofs.reachability import Subsumed, rule_matters, subsumed_rules
from limbtier.governance.proofs.session import Found, NoneFound, NotSettled
from limbtier.governance.proofs.workbench import Workbench
from limbtier.measures.working_days import WorkingCalendar

FORMULAS: Final = "there are no exact values for what was found"


class SolverProver:
    """Answers by the solver. A question about "some assessment" holds when it holds in one period; rules that
    are covered by others must be so in all of them."""

    def __init__(self, prepared: PreparedEdition, calendars: Mapping[str, WorkingCalendar]) -> None:
        self._prepared = prepared
        self._calendars = calendars
        self._applies: dict[str, Told] = {}

    @cached_property
    def _benches(self) -> tuple[Workbench, ...]:
        periods = range(len(self._prepared.periods.starts))
        return tuple(Workbench(self._prepared, self._calendars, period) for period in periods)

    def rule_can_apply(self, rule_id: str) -> Told:
        """Whether the rule applies to any."""
        if rule_id not in self._applies:
            self._applies[rule_id] = self._some(lambda bench: bench.encoding.rule(rule_id).surely)
        return self._applies[rule_id]

    def rule_matters(self, rule_id: str) -> Told:
        """Whether any decision would differ without the rule."""
        told: Told = False
        for bench in self._benches:
            answer = rule_matters(bench, rule_id)
            if answer is True:
                return True
            if isinstance(answer, NotSettled):
                told = NotTold(answer.reason)
        return told

    def review_matters(self, rule_id: str) -> Told:
        """Whether any review would differ if the rule set none."""
        place = next(place for place, rule in enumerate(self._prepared.edition.rules) if rule.id == rule_id)

        def comes_first(bench: Workbench) -> Formula:
            """The rule counts, and nothing else sets a review as early as it does."""
            reviews = list(bench.settings.reviews)
            mine, reviews[place] = reviews[place], NO_REVIEW
            settings = replace(bench.settings, reviews=tuple(reviews))
            encoding = bench.encoding
            tiers, dispositions = encoding.outcome.tiers, encoding.outcome.dispositions
            others = review_of(encoding.rules, tiers, dispositions, settings)
            return all_of((encoding.rules[place].possibly, negated(others.within(mine))))

        return self._some(comes_first)

    def subsumptions(self) -> tuple[Subsumption | NotTold, ...]:
        """Rules that are not needed beside another, in any period."""
        found: list[Subsumption | NotTold] = []
        in_all: set[Subsumption] | None = None
        for bench in self._benches:
            answers = subsumed_rules(bench)
            here = {Subsumption(one.rule, one.by) for one in answers if isinstance(one, Subsumed)}
            in_all = here if in_all is None else in_all & here
            found += [NotTold(one.reason) for one in answers if isinstance(one, NotSettled)]
        return (*sorted(in_all or (), key=lambda one: (one.rule, one.by)), *dict.fromkeys(found))

    def tier_can_be_given(self, tier: str) -> Told:
        """Whether any decision gives the tier."""
        rank = self._prepared.ranks[tier]
        return self._some(lambda bench: bench.encoding.outcome.tiers.is_given(rank))

    def disposition_can_come_out(self, disposition: str) -> Told:
        """Whether any decision has the disposition."""
        name = next(one for one in DISPOSITIONS if one == disposition)
        return self._some(lambda bench: bench.encoding.outcome.dispositions[name])

    def material_can_be_chosen(self, material: str) -> Told:
        """Whether any decision chooses the material."""
        return self._some(lambda bench: material_chosen(bench.encoding, material))

    def instruction_can_be_shown(self, rule_id: str) -> Told:
        """Whether any decision shows what the rule instructs."""
        place = next(place for place, rule in enumerate(self._prepared.edition.rules) if rule.id == rule_id)
        return self._some(lambda bench: technique_shown(bench.encoding, place))

    def fact_can_be(self, fact: str, value: str) -> Told:
        """Whether the derived fact is `yes`, or `no`, in any."""
        return self._some(lambda bench: bench.encoding.terms[fact].word(value))

    def tier_without_material(self, tier: str) -> Told:
        """Whether any decision gives the tier, every question answered, and chooses nothing that holds it."""
        rank = self._prepared.ranks[tier]
        holding = [one.name for one in self._prepared.edition.materials.values() if one.kind in HOLDING]

        def bare(bench: Workbench) -> Formula:
            encoding = bench.encoding
            answered = (
                any_of((negated(encoding.request[name].absent), encoding.not_asked.get(name, False)))
                for name in encoding.request
            )
            chosen = any_of(material_chosen(encoding, name) for name in holding)
            return all_of((encoding.outcome.tiers.is_given(rank), *answered, negated(chosen)))

        return self._some(bare)

    def _some(self, wanted: Callable[[Workbench], Formula]) -> Told:
        """Whether there is an assessment, on some day on which the edition is used."""
        told: Told = False
        for bench in self._benches:
            answer = bench.session.find(wanted(bench))
            if isinstance(answer, Found) and answer.exact:
                return True
            if isinstance(answer, NotSettled):
                told = NotTold(answer.reason)
            elif not isinstance(answer, NoneFound):
                told = NotTold(FORMULAS)
        return told
