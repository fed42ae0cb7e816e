"""What catches a seeded edit: proofs, checks of reachability, and worked cases."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from limbtier.domain.decision import DISPOSITIONS
from limbtier.domain.edition import Edition
from limbtier.domain.rule import GuardRails
from limbtier.engine.matcher import MatcherPool
from limbtier.engine.prepared import PreparedEdition, prepare
from limbtier.governance.proofs.reachability import (
    Never,
    Subsumed,
    disposition_can_come_out,
    rule_can_apply,
    rule_matters,
    subsumed_rules,
    tier_can_be_given,
)
from limbtier.governance.proofs.workbench import Workbench
from limbtier.measures.working_days import WorkingCalendar
from limbtier.use_cases.run_worked_cases import run_worked_cases

Calendars = Mapping[str, WorkingCalendar]


def prepared_mutant(edition: Edition, guard_rails: GuardRails) -> PreparedEdition:
    return prepare(edition, guard_rails, MatcherPool)


def checks(bench: Workbench) -> Iterator[str]:
    """What the checks of reachability find."""
    for rule in bench.edition.rules:
        if isinstance(rule_can_apply(bench, rule.id), Never):
            yield f"rule-never-applies: {rule.id}"
        elif rule_matters(bench, rule.id) is False:
            yield f"rule-never-matters: {rule.id}"
    for tier in bench.prepared.ranks:
        if isinstance(tier_can_be_given(bench, tier), Never):
            yield f"tier-unreachable: {tier}"
    for disposition in DISPOSITIONS:
        if isinstance(disposition_can_come_out(bench, disposition), Never):
            yield f"disposition-unreachable: {disposition}"
    for pair in subsumed_rules(bench):
        if isinstance(pair, Subsumed):
            yield f"rule-subsumed: {pair.rule} by {pair.by}"


def differing_cases(prepared: PreparedEdition, calendars: Calendars) -> list[str]:
    """Worked cases that come out otherwise than expected, by id."""
    return [result.case.id for result in run_worked_cases(prepared, calendars) if result.problems]
