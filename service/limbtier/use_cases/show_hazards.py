"""Shows the hazard log with the edition it is looked at with; what it points at is looked up first."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

import orjson

from limbtier.domain.edition import Edition
from limbtier.domain.hazard import HazardLog
from limbtier.domain.rule import GuardRails
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.clock import now
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidRuleFiles, NotFound
from limbtier.governance.checks.registry import BY_TOPIC
from limbtier.governance.document import html, markdown
from limbtier.governance.hazard_log import (
    Evidence,
    hazard_log_record,
    names_of_tests,
    unknown_references,
)
from limbtier.governance.hazard_log_text import hazard_document, hazard_list
from limbtier.governance.proofs.danger_signs import HEARD
from limbtier.governance.proofs.liftability import lift_statement
from limbtier.governance.proofs.order import ORDER
from limbtier.governance.proofs.single_decision import COMPLETE, ONE_OUTCOME, PLAN
from limbtier.rulesets.codes import CODES
from limbtier.rulesets.read_hazards import load_hazards
from limbtier.use_cases.compare_editions import edition_named
from limbtier.use_cases.ready_rules import ready_rules

FORMS: Final[Mapping[str, Callable[[HazardLog, Edition, GuardRails], str]]] = {
    "text": hazard_list,
    "json": lambda *shown: orjson.dumps(hazard_log_record(*shown)).decode(),
    "markdown": lambda *shown: markdown(hazard_document(*shown)),
    "html": lambda *shown: html(hazard_document(*shown)),
}


def show_hazards(
    rules_folder: Path, rule_set: str, edition: str | None, tests_folder: Path, form: str
) -> str:
    """The hazard log of a rules folder in one of FORMS, beside an edition: the one named, or the active one
    of a set. Raises NotFound, and InvalidRuleFiles where the log cannot be read, or points at something that
    does not exist."""
    rules = ready_rules(rules_folder, rule_set)
    prepared = rules.edition(None, now()) if edition is None else edition_named(rules, edition)
    if prepared is None:
        message, advice = "No edition is in force today.", "Name one with `--edition`."
        raise NotFound([Diagnostic("no-edition", message, advice)])
    return hazards_beside(rules_folder, prepared, tests_folder, form)


def hazards_beside(rules_folder: Path, prepared: PreparedEdition, tests_folder: Path, form: str) -> str:
    """The hazard log of a rules folder in one of FORMS, beside an edition. Raises InvalidRuleFiles."""
    log = load_hazards(rules_folder)
    unknown = unknown_references(log, evidence(prepared, tests_folder))
    if unknown:
        raise InvalidRuleFiles(unknown)
    return FORMS[form](log, prepared.edition, prepared.guard_rails)


def evidence(prepared: PreparedEdition, tests_folder: Path) -> Evidence:
    """What there is for controls to point at, with an edition and the guard rails that bind it."""
    rails = frozenset(rail.id for rail in prepared.guard_rails.rails)
    lifts = (
        lift_statement(rule, rule.then.limit.until).id
        for rule in prepared.edition.rules
        if rule.then.limit is not None and rule.then.limit.until is not None
    )
    single = (HEARD.id, ORDER.id, ONE_OUTCOME.id, PLAN.id, COMPLETE.id)
    return Evidence(
        guard_rails=rails,
        proofs=rails | {*single, *lifts},
        checks=frozenset(CODES).union(check.id for some in BY_TOPIC.values() for check in some),
        tests=names_of_tests(tests_folder),
    )
