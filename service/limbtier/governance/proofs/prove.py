"""Proves everything that must hold of an edition, one statement after another."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.proofs.danger_signs import prove_danger_signs_heard
from limbtier.governance.proofs.guard_rails import prove_guard_rail
from limbtier.governance.proofs.liftability import prove_lifting, prove_limit_lifts
from limbtier.governance.proofs.order import prove_order
from limbtier.governance.proofs.relations import prove_relation
from limbtier.governance.proofs.session import MILLISECONDS
from limbtier.governance.proofs.single_decision import prove_single_decisions
from limbtier.governance.proofs.verdict import Statement, Verdict
from limbtier.governance.proofs.workbench import Workbench, days_of_period
from limbtier.measures.working_days import WorkingCalendar

Progress = Callable[[Verdict], None]


def prove_edition(
    prepared: PreparedEdition,
    calendars: Mapping[str, WorkingCalendar],
    progress: Progress = lambda _verdict: None,
    milliseconds: int = MILLISECONDS,
) -> list[Verdict]:
    """A verdict for every guard rail and every other statement, in each period in which the settings differ.

    `progress` is told each verdict as it is found; `milliseconds` bound one question to the solver. Raises
    UnsupportedConstruct where the edition holds something that has no formula.
    """
    return _in_each_period(prepared, calendars, verdicts, progress, milliseconds)


def _in_each_period(
    prepared: PreparedEdition,
    calendars: Mapping[str, WorkingCalendar],
    prove: Callable[[Workbench], Iterator[Verdict]],
    progress: Progress,
    milliseconds: int,
) -> list[Verdict]:
    found: list[Verdict] = []
    periods = len(prepared.periods.values)
    for period in range(periods):
        for verdict in prove(Workbench(prepared, calendars, period, milliseconds)):
            told = verdict if periods == 1 else _in_period(verdict, prepared, period)
            progress(told)
            found.append(told)
    return found


def prove_rule(
    prepared: PreparedEdition,
    calendars: Mapping[str, WorkingCalendar],
    rule_id: str,
    progress: Progress = lambda _verdict: None,
    milliseconds: int = MILLISECONDS,
) -> list[Verdict]:
    """What one rule can break: everything except the lifting of other limits and the order of the rules. For
    a rule that is being edited. Raises KeyError for an unknown rule, and as `prove_edition`."""
    rule = next((rule for rule in prepared.edition.rules if rule.id == rule_id), None)
    if rule is None:
        raise KeyError(rule_id)

    def prove(bench: Workbench) -> Iterator[Verdict]:
        yield from _of_every_edition(bench)
        if rule.then.limit is not None and rule.then.limit.until is not None:
            yield prove_limit_lifts(bench, rule)

    return _in_each_period(prepared, calendars, prove, progress, milliseconds)


def verdicts(bench: Workbench) -> Iterator[Verdict]:
    """Every verdict on one edition in one period, each worked out when it is asked for."""
    yield from _of_every_edition(bench)
    yield from prove_lifting(bench)
    yield prove_order(bench)


def _of_every_edition(bench: Workbench) -> Iterator[Verdict]:
    for rail in bench.prepared.guard_rails.rails:
        yield prove_relation(bench, rail) if rail.relation else prove_guard_rail(bench, rail)
    yield prove_danger_signs_heard(bench)
    yield from prove_single_decisions(bench)


def _in_period(verdict: Verdict, prepared: PreparedEdition, period: int) -> Verdict:
    """The verdict, its statement naming the days for which it was found."""
    first, after = days_of_period(prepared, period)
    days = f"from {first}" if after is None else f"from {first}, before {after}"
    statement = verdict.statement
    named = Statement(f"{statement.id}@{first}", statement.family, f"{statement.sentence} ({days}.)")
    return replace(verdict, statement=named)
