"""What a check may look at beside the edition: the day, guard rails, worked cases as decided, the prover."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Protocol

from limbtier.domain.assessment import Answer
from limbtier.domain.edition import Edition, WorkedCase
from limbtier.domain.rule import GuardRails
from limbtier.rulesets.read_checks import CheckSettings, Suppression


@dataclass(frozen=True, slots=True)
class DecidedCase:
    """A worked case and what the edition decides in it: the facts that rules met, the rules that applied."""

    case: WorkedCase
    assessed_on: date
    facts: Mapping[str, Answer]
    applied: frozenset[str]
    tier: str
    disposition: str


@dataclass(frozen=True, slots=True)
class NotTold:
    """The prover could not settle a question; `reason` says why."""

    reason: str


# Whether something holds for some assessment.
Told = bool | NotTold


@dataclass(frozen=True, slots=True)
class Subsumption:
    """Whenever `rule` counts, `by` counts too and says at least as much."""

    rule: str
    by: str


class Prover(Protocol):
    """Questions about every assessment that an edition takes, on any day on which it is used."""

    def rule_can_apply(self, rule_id: str) -> Told:
        """Whether the rule applies to any."""

    def rule_matters(self, rule_id: str) -> Told:
        """Whether any decision would differ without the rule."""

    def review_matters(self, rule_id: str) -> Told:
        """Whether any review would differ if the rule set none."""

    def subsumptions(self) -> tuple[Subsumption | NotTold, ...]:
        """Rules that are not needed beside another."""

    def tier_can_be_given(self, tier: str) -> Told:
        """Whether any decision gives the tier."""

    def disposition_can_come_out(self, disposition: str) -> Told:
        """Whether any decision has the disposition."""

    def material_can_be_chosen(self, material: str) -> Told:
        """Whether any decision chooses the material."""

    def instruction_can_be_shown(self, rule_id: str) -> Told:
        """Whether any decision shows what the rule instructs."""

    def fact_can_be(self, fact: str, value: str) -> Told:
        """Whether the derived fact is `yes`, or `no`, in any."""

    def tier_without_material(self, tier: str) -> Told:
        """Whether any decision gives the tier, every question answered, and chooses nothing that holds it."""


@dataclass(frozen=True)
class Context:
    """Everything around the edition that is judged. `day` is the day by which dates are judged;
    `guard_rail_versions` are all there are. `prover_for` makes the prover, None where it is not asked.

    `suppressions` are those for this edition that the checks which were run could meet, each with whether it
    met a finding; they are there only for the checks that judge suppressions.
    """

    day: date
    settings: CheckSettings
    guard_rails: GuardRails
    guard_rail_versions: tuple[str, ...]
    cases: tuple[DecidedCase, ...]
    prover_for: Callable[[], Prover] | None = None
    suppressions: tuple[tuple[Suppression, bool], ...] = ()

    @cached_property
    def prover(self) -> Prover:
        """The prover, made when first asked for. Raises RuntimeError where there is none."""
        if self.prover_for is None:
            raise RuntimeError("no prover was given")
        return self.prover_for()


def of_this_edition(edition: Edition, context: Context) -> tuple[Suppression, ...]:
    """The suppressions that are for one edition."""
    return tuple(one for one in context.settings.suppressions if one.edition == edition.id)
