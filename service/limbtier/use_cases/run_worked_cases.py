"""Runs the worked cases of an edition: what was expected against what is decided."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from limbtier.domain.decision import LimbDecision
from limbtier.domain.edition import Edition, WorkedCase
from limbtier.engine.decide import decide
from limbtier.engine.interpreter import APPLIES, DOES_NOT_APPLY, UNDETERMINED
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError
from limbtier.measures.working_days import WorkingCalendar
from limbtier.use_cases.assessment_request import read_assessment
from limbtier.use_cases.decision_record import instructions_fit


@dataclass(frozen=True, slots=True)
class CaseResult:
    """One case: where it fails, and the rules that applied in it. `decided` is what came out instead of each
    expectation that failed, in the same form, `decision` the whole of it; they are None where nothing was
    decided."""

    case: WorkedCase
    problems: tuple[Diagnostic, ...]
    applied: frozenset[str]
    decided: Mapping[str, Any] | None
    decision: LimbDecision | None = None


def run_worked_cases(
    prepared: PreparedEdition, calendars: Mapping[str, WorkingCalendar]
) -> Iterator[CaseResult]:
    """Each case of the edition, decided by the edition itself, in the order of the files."""
    for case in prepared.edition.cases:
        yield _run(prepared, calendars, case)


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
        return CaseResult(case, found, frozenset(), None)
    limb = next(iter(decision.limbs.values()))
    states = dict(zip((rule.id for rule in prepared.edition.rules), limb.trace.rules, strict=True))
    told = _told(prepared.edition, limb, states)
    decided = _decided(case.expect, limb, states, told)
    differs = {key: value for key, value in decided.items() if value != _plain(case.expect[key])}
    advice = _ADVICE_ON_BASE if of_base(case, prepared.edition) else _ADVICE
    return CaseResult(
        case,
        tuple(
            Diagnostic("case-differs", f"Case `{case.id}`: {words}", advice, None, case.file, case.line)
            for words in _differences(case.expect, limb, states, told)
        ),
        frozenset(name for name, state in states.items() if state == APPLIES),
        differs,
        limb,
    )


_ADVICE = "Find out which is wrong, the rule or the expectation, before changing either."
_ADVICE_ON_BASE = (
    "This is a case of the base. If this edition means to decide otherwise, list it under `replace` in "
    "`cases/` with a reason."
)


def of_base(case: WorkedCase, edition: Edition) -> bool:
    """Whether a case is taken over from the edition that this one is based on."""
    return not case.file.startswith(f"{edition.name}/{edition.version}/")


def _plain(expected: Any) -> Any:
    """An expectation with lists of names sorted, as they are compared."""
    names = isinstance(expected, list) and all(isinstance(name, str) for name in expected)
    return sorted(expected) if names else expected


@dataclass(frozen=True, slots=True)
class _Told:
    """What a nurse reads beside the tier: kinds of material, and the rules whose sentences are given."""

    chosen: frozenset[str]
    avoided: frozenset[str]
    cautioned_by: frozenset[str]
    instructed_by: frozenset[str]


def _told(edition: Edition, limb: LimbDecision, states: Mapping[str, int]) -> _Told:
    above = limb.tier != edition.tiers[0].name  # at the lowest tier nothing is put on, so nothing is taught
    rules = [(rule.id, rule.then, states[rule.id]) for rule in edition.rules]
    return _Told(
        frozenset(material.name for material in limb.chosen),
        frozenset(material.name for material in limb.avoided),
        frozenset(name for name, then, state in rules if then.caution and state != DOES_NOT_APPLY),
        frozenset(
            name
            for name, then, state in rules
            if above and then.instruct and state == APPLIES and instructions_fit(then, limb)
        ),
    )


def _decided(
    expect: Mapping[str, Any], limb: LimbDecision, states: Mapping[str, int], told: _Told
) -> dict[str, Any]:
    """What came out for each key that is expected, in the same form; of what had to be there, what is, and of
    what had not to be there, what is not."""
    due = {entry.what: entry.due_on.isoformat() for entry in limb.arrangements if entry.due_on}
    set_by = limb.review.set_by
    expected_by = expect.get("review_set_by")
    among = {
        **{
            key: {name for name, state in states.items() if state == wanted}
            for key, wanted in _STATES.items()
        },
        "questions": {question.input for question in limb.questions},
        **{key: getattr(told, member) for key, (member, _) in _GIVEN.items()},
    }
    without = {key: getattr(told, member) for key, (member, _) in _NOT_GIVEN.items()}
    found = {
        **_plain_values(limb),
        "review_set_by": expected_by if expected_by in set_by else set_by[0],
        "held_by": sorted(limit.rule for limit in limb.limits if limit.at_tier_given),
        "plan": [[step.from_tier, step.to_tier] for step in limb.plan],
        "arrangements": {what: due[what] for what in expect.get("arrangements", {}) if what in due},
        **{key: sorted(among[key] & set(expect.get(key, ()))) for key in among},
        **{key: sorted(set(expect.get(key, ())) - without[key]) for key in without},
    }
    return {key: found[key] for key in expect}


def _at(item: Diagnostic) -> str:
    return f" at {item.pointer}" if item.pointer else ""


_STATES = {"applies": APPLIES, "undetermined": UNDETERMINED, "does_not_apply": DOES_NOT_APPLY}
# Keys of an expectation: where what came out is found, and what is said where it did not come out so.
_GIVEN = {
    "materials": ("chosen", "expected the materials {}, which are not chosen."),
    "avoided": ("avoided", "expected {} to be avoided, which does not happen."),
    "cautioned_by": ("cautioned_by", "expected the cautions of {}, which are not given."),
    "instructed_by": ("instructed_by", "expected the instructions of {}, which are not given."),
}
_NOT_GIVEN = {
    "not_chosen": ("chosen", "expected {} not to be chosen, which happens."),
    "not_cautioned_by": ("cautioned_by", "expected no caution of {}, which is given."),
    "not_instructed_by": ("instructed_by", "expected no instructions of {}, which are given."),
}


def _plain_values(limb: LimbDecision) -> dict[str, str]:
    return {
        "disposition": limb.disposition,
        "tier": limb.tier,
        "target_tier": limb.target_tier,
        "highest_possible_tier": limb.highest_possible_tier,
        "review_due_on": limb.review.due_on.isoformat(),
    }


def _differences(
    expect: Mapping[str, Any], limb: LimbDecision, states: Mapping[str, int], told: _Told
) -> Iterator[str]:
    for key, found in _plain_values(limb).items():
        if key in expect and expect[key] != found:
            yield f"expected {key} `{expect[key]}`, decided `{found}`."
    if "review_set_by" in expect and expect["review_set_by"] not in limb.review.set_by:
        yield f"expected the review set by `{expect['review_set_by']}`, it is {_list(limb.review.set_by)}."
    held = sorted(limit.rule for limit in limb.limits if limit.at_tier_given)
    if "held_by" in expect and sorted(expect["held_by"]) != held:
        yield f"expected to be held by {_list(expect['held_by'])}, held by {_list(held)}."
    for key, wanted in _STATES.items():
        missing = [name for name in expect.get(key, ()) if states.get(name) != wanted]
        if missing:
            yield f"expected {key} to name {_list(missing)}, which it does not."
    asked = {question.input for question in limb.questions}
    if not_asked := [name for name in expect.get("questions", ()) if name not in asked]:
        yield f"expected the questions {_list(not_asked)}, which are not asked."
    for key, (member, words) in _GIVEN.items():
        if missing := [name for name in expect.get(key, ()) if name not in getattr(told, member)]:
            yield words.format(_list(missing))
    for key, (member, words) in _NOT_GIVEN.items():
        if there := [name for name in expect.get(key, ()) if name in getattr(told, member)]:
            yield words.format(_list(there))
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
