"""Runs the worked cases of an edition: what was expected against what is decided."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from limbtier.domain.decision import LimbDecision
from limbtier.domain.edition import WorkedCase
from limbtier.engine.decide import decide
from limbtier.engine.interpreter import APPLIES, DOES_NOT_APPLY, UNDETERMINED
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError
from limbtier.measures.working_days import WorkingCalendar
from limbtier.use_cases.assessment_request import read_assessment


@dataclass(frozen=True, slots=True)
class CaseResult:
    """One case: where it fails, and the rules that applied in it."""

    case: WorkedCase
    problems: tuple[Diagnostic, ...]
    applied: frozenset[str]


def run_worked_cases(
    prepared: PreparedEdition, calendars: Mapping[str, WorkingCalendar]
) -> Iterator[CaseResult]:
    """Each case of the edition, decided by the edition itself, in the order of the files."""
    for case in prepared.edition.cases:
        yield _run(prepared, calendars, case)


def rules_without_case(prepared: PreparedEdition, results: Sequence[CaseResult]) -> list[Diagnostic]:
    """A warning for every rule that applies in no worked case."""
    applied = frozenset().union(*(result.applied for result in results))
    return [
        Diagnostic(
            "rule-without-case",
            f"The rule `{rule.id}` applies in no worked case.",
            "Add a case in which it applies.",
            file=rule.file,
            line=rule.line,
            severity="warning",
        )
        for rule in prepared.edition.rules
        if rule.id not in applied
    ]


def _run(prepared: PreparedEdition, calendars: Mapping[str, WorkingCalendar], case: WorkedCase) -> CaseResult:
    try:
        assessment, _ = read_assessment(dict(case.assessment), lambda _name, _moment: prepared)
        decision = decide(prepared, assessment, calendars[assessment.calendar], assessment.assessed_at)
    except LimbtierError as error:
        found = tuple(
            Diagnostic(
                item.code,
                f"Case `{case.id}`{_at(item)}: {item.message}",
                item.help,
                None,
                case.file,
                case.line,
            )
            for item in error.diagnostics
        )
        return CaseResult(case, found, frozenset())
    limb = next(iter(decision.limbs.values()))
    states = dict(zip((rule.id for rule in prepared.edition.rules), limb.trace.rules, strict=True))
    differences = _differences(case.expect, limb, states)
    return CaseResult(
        case,
        tuple(
            Diagnostic("case-differs", f"Case `{case.id}`: {words}", _ADVICE, None, case.file, case.line)
            for words in differences
        ),
        frozenset(name for name, state in states.items() if state == APPLIES),
    )


_ADVICE = "Find out which is wrong, the rule or the expectation, before changing either."


def _at(item: Diagnostic) -> str:
    return f" at {item.pointer}" if item.pointer else ""


def _differences(expect: Mapping[str, Any], limb: LimbDecision, states: Mapping[str, int]) -> Iterator[str]:
    plain = {
        "disposition": limb.disposition,
        "tier": limb.tier,
        "target_tier": limb.target_tier,
        "highest_possible_tier": limb.highest_possible_tier,
        "review_due_on": limb.review.due_on.isoformat(),
    }
    for key, found in plain.items():
        if key in expect and expect[key] != found:
            yield f"expected {key} `{expect[key]}`, decided `{found}`."
    if "review_set_by" in expect and expect["review_set_by"] not in limb.review.set_by:
        yield f"expected the review set by `{expect['review_set_by']}`, it is {_list(limb.review.set_by)}."
    held = sorted(limit.rule for limit in limb.limits if limit.at_tier_given)
    if "held_by" in expect and sorted(expect["held_by"]) != held:
        yield f"expected to be held by {_list(expect['held_by'])}, held by {_list(held)}."
    wanted_states = {
        "applies": APPLIES,
        "undetermined": UNDETERMINED,
        "does_not_apply": DOES_NOT_APPLY,
    }
    for key, wanted in wanted_states.items():
        missing = [name for name in expect.get(key, ()) if states.get(name) != wanted]
        if missing:
            yield f"expected {key} to name {_list(missing)}, which it does not."
    asked = {question.input for question in limb.questions}
    if not_asked := [name for name in expect.get("questions", ()) if name not in asked]:
        yield f"expected the questions {_list(not_asked)}, which are not asked."
    chosen = {material.name for material in limb.chosen}
    if not_chosen := [name for name in expect.get("materials", ()) if name not in chosen]:
        yield f"expected the materials {_list(not_chosen)}, which are not chosen."
    due = {entry.what: entry.due_on.isoformat() for entry in limb.arrangements if entry.due_on}
    for what, day in expect.get("arrangements", {}).items():
        if due.get(what) != day:
            yield f"expected {what} by {day}, it is {due.get(what, 'not arranged')}."
    if "plan" in expect:
        steps = [[step.from_tier, step.to_tier] for step in limb.plan]
        if [list(step) for step in expect["plan"]] != steps:
            yield f"expected the plan {expect['plan']}, it is {steps}."


def _list(names: Sequence[str]) -> str:
    return ", ".join(f"`{name}`" for name in names) or "nothing"
