"""Guard rails: that no assessment leads to a decision which breaks one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from datetime import datetime
from typing import Final

from limbtier.domain.interval import Interval
from limbtier.domain.rule import Arrange, GuardCheck, GuardRail
from limbtier.governance.proofs.deadlines import surely_within, within
from limbtier.governance.proofs.effects import material_avoided, material_chosen
from limbtier.governance.proofs.formulas import Formula, all_of, any_of, negated
from limbtier.governance.proofs.outcome import SUPPORT
from limbtier.governance.proofs.replay import MORNING, CannotReplay, Replayed
from limbtier.governance.proofs.session import NoneFound
from limbtier.governance.proofs.terms import Truth, truth_of, unsupported
from limbtier.governance.proofs.verdict import Proved, Statement, Verdict
from limbtier.governance.proofs.witness import Answers, Moment
from limbtier.governance.proofs.workbench import Clock, Workbench

FAMILY: Final = "guard rail"
# What a guard rail can demand; a demand that is not here is an error, never skipped.
_DEMANDS: Final = frozenset(
    {
        "tier_at_most",
        "disposition",
        "review_within",
        "arranged",
        "safety_net",
        "no_avoided_material",
    }
)


def guard_rail_statement(rail: GuardRail) -> Statement:
    """A guard rail as a statement to be proved."""
    return Statement(rail.id, FAMILY, rail.statement)


def prove_guard_rail(bench: Workbench, rail: GuardRail) -> Verdict:
    """One guard rail that one decision can show, with all its checks."""
    statement, clock = guard_rail_statement(rail), Clock()
    # Deadlines that are never later by their kind alone settle most; the others are counted out.
    quick = Deadlines(bench, counted=False)
    if isinstance(bench.session.find(breach_of(bench, rail, quick)), NoneFound):
        return Proved(statement, clock.seconds())
    full = Deadlines(bench, counted=True)
    breach = breach_of(bench, rail, full)
    return bench.settle(statement, breach, _Broken(bench, rail, full.late_on))


def breach_of(bench: Workbench, rail: GuardRail, deadlines: Deadlines) -> Formula:
    """The decision breaks the guard rail, on some day at least."""
    guarded = bench.encoding.as_guarded()
    return any_of(_breach(bench, check, truth_of(check.when, guarded), deadlines) for check in rail.checks)


class _Broken:
    """Whether the engine breaks the guard rail, too: on the first day that shows it, and then on that day."""

    def __init__(self, bench: Workbench, rail: GuardRail, late_on: Sequence[Moment]) -> None:
        self._bench, self._rail = bench, rail
        self._days: Sequence[Moment] = (*bench.moments, *late_on)

    def __call__(self, answers: Answers) -> Sequence[Replayed] | None:
        if not self._days:
            raise CannotReplay("no calendar reaches the period in which these settings hold")
        for moment in self._days:
            replayed = self._bench.replayer.decide(answers, moment)
            if self._rail.id in replayed.broken:
                self._days = (moment,)
                return (replayed,)
        return None


class Deadlines:
    """Says for which requests one interval ends no later than another."""

    def __init__(self, bench: Workbench, *, counted: bool) -> None:
        self._bench = bench
        self._counted = counted
        # Days on which one was found to end later.
        self.late_on: list[Moment] = []

    def in_time(self, one: Interval, wanted: Interval) -> Formula:
        """The one ends no later than the wanted, on every day."""
        if not self._counted:
            return surely_within(one, wanted)
        bench = self._bench
        found = within(one, wanted, bench.settings, bench.calendars, bench.days)
        if found.later_on is not None:
            nation, day = found.later_on
            self.late_on.append(Moment(datetime.combine(day, MORNING), nation))
        return found.formula(bench.request)


def _breach(bench: Workbench, check: GuardCheck, truth: Truth, deadlines: Deadlines) -> Formula:
    """The check applies to the decision, and something that it requires does not hold."""
    outcome, require = bench.encoding.outcome, check.require
    if {field.name for field in fields(require)} != _DEMANDS:
        raise unsupported("Guard rails demand something that has no formula.")
    ranks = bench.prepared.ranks
    for_these: list[Formula] = []
    if check.dispositions:
        for_these.append(
            any_of(is_it for name, is_it in outcome.dispositions.items() if name in check.dispositions)
        )
    if check.tiers:
        for_these.append(any_of(outcome.tiers.is_given(ranks[name]) for name in check.tiers))
    broken: list[Formula] = []
    if require.tier_at_most is not None:
        above = ranks[require.tier_at_most] + 1
        broken.append(all_of((truth.possibly, outcome.tiers.given[above] if above < len(ranks) else False)))
    if require.no_avoided_material:
        broken.append(all_of((truth.possibly, _avoided_is_chosen(bench))))
    if require.safety_net and not bench.edition.wording.safety_net:
        broken.append(truth.possibly)
    if require.disposition is not None:
        wanted = any_of(is_it for name, is_it in outcome.dispositions.items() if name == require.disposition)
        broken.append(all_of((truth.surely, negated(wanted))))
    if require.review_within is not None:
        # On some day the end of the interval is a working day, and then the review is no earlier.
        days = require.review_within.days()
        broken.append(all_of((truth.surely, negated(outcome.review.within(days)))))
    if require.arranged is not None:
        broken.append(all_of((truth.surely, negated(_arranged(bench, require.arranged, deadlines)))))
    return all_of((*for_these, any_of(broken)))


def _avoided_is_chosen(bench: Workbench) -> Formula:
    """Some material is chosen although a rule avoids it, applying or undetermined."""
    return any_of(
        all_of((material_chosen(bench.encoding, name), material_avoided(bench.encoding, name)))
        for name in bench.edition.materials
    )


def _arranged(bench: Workbench, wanted: Arrange, deadlines: Deadlines) -> Formula:
    """A rule that applies arranges it in time; where a leg stays at support, also by the chase deadline."""
    outcome, settings = bench.encoding.outcome, bench.settings
    chased = all_of((outcome.dispositions["continue"], outcome.tiers.is_given(SUPPORT)))
    by = bench.edition.interval(wanted.within, bench.days[0])
    in_time: list[Formula] = []
    for place, (rule, truth) in enumerate(zip(bench.edition.rules, bench.encoding.rules, strict=True)):
        for arrange in settings.arranges[place]:
            if arrange.what != wanted.what:
                continue
            ways = [deadlines.in_time(arrange.within, by)]
            limit = rule.then.limit
            if limit is not None and limit.until is not None and bench.prepared.limits[place] == SUPPORT:
                ways.append(all_of((chased, deadlines.in_time(settings.intervals["chase_deadline"], by))))
            in_time.append(all_of((truth.surely, any_of(ways))))
    return any_of(in_time)
