"""Watches episodes between decisions: what is late, what does not get better, what was repeated too often.

The rules of the pathway are read twice, as the rules of an edition are: by compiled conditions and by the
matcher, which must name the same ones.
"""

from __future__ import annotations

import logging
from datetime import date, timedelta
from fractions import Fraction
from typing import NamedTuple

from limbtier.domain.assessment import Answer
from limbtier.domain.episode_state import Given, LimbState
from limbtier.domain.interval import Interval
from limbtier.domain.pathway import Pathway, WatchRule
from limbtier.engine.arterial_test import comes_to_result
from limbtier.engine.compiled import compile_rules
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.matcher import MatcherPool
from limbtier.foundation.answer_states import NOT_ASKED, NOT_DONE
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import EnginesDisagree
from limbtier.measures.working_days import CalendarRangeError, WorkingCalendar
from limbtier.measures.wound import area_reduction_percent

alarm = logging.getLogger("limbtier.alarm")


class Flag(NamedTuple):
    """A watch rule that applies to a leg, or might: then something that it reads was not recorded."""

    watch: WatchRule
    applies: bool
    due_on: date


class Watch:
    """The watch rules of a pathway, made ready once; for any number of threads."""

    def __init__(self, pathway: Pathway) -> None:
        """Raises InvalidRuleFiles when the rules pass a limit of the matcher."""
        rules = [one.rule for one in pathway.watch]
        self.pathway = pathway
        self._compiled = compile_rules(rules, [0] * len(rules))
        self._matcher = MatcherPool(rules)

    def flags(self, leg: LimbState, day: date, calendar: WorkingCalendar) -> tuple[Flag, ...]:
        """What is to be seen to on a day, in the order of the rules. Raises EnginesDisagree."""
        facts = watch_facts(leg, day)
        states = self._compiled.read(facts)[0]
        second = self._matcher.match(facts)
        if second != states:
            named = [
                one.rule.id
                for one, first, other in zip(self.pathway.watch, states, second, strict=True)
                if first != other
            ]
            message = f"The two engines read these watch rules differently: {', '.join(named)}."
            alarm.critical("engines-disagree with pathway %s: %s", self.pathway.version, message)
            advice = "Take nothing from this answer, and report the fault with the request."
            raise EnginesDisagree([Diagnostic("engines-disagree", message, advice)])
        return tuple(
            Flag(one, state == APPLIES, due_on(one.within, day, calendar))
            for one, state in zip(self.pathway.watch, states, strict=True)
            if state
        )


def watch_facts(leg: LimbState, day: date) -> dict[str, Answer]:
    """The measures of a leg on a day; one that is not known is absent."""
    facts: dict[str, Answer] = {
        "days_since_first_contact": _days(leg.first_contact_on, day),
        "full_assessment": "done" if comes_to_result(leg.kept) else "outstanding",
        "support_decisions": Fraction(leg.support_decisions),
        "tier_drops": Fraction(leg.tier_drops),
        "missed_reviews": Fraction(leg.missed_reviews),
        "days_past_review": NOT_ASKED if leg.review_due_on is None else _days(leg.review_due_on, day),
    }
    if leg.tier is not None and (leg.unsettled_on is None or day <= leg.unsettled_on):
        facts["tier"] = leg.tier
        facts.update(_at_tier(leg, day))
    facts.update(_since_start(leg, day))
    return facts


def _at_tier(leg: LimbState, day: date) -> dict[str, Answer]:
    if leg.tier in ("none", "withhold"):
        return dict.fromkeys(("days_at_tier", "days_without_improvement", "progress"), NOT_ASKED)
    found: dict[str, Answer] = {}
    if leg.progress is not None:
        found["progress"] = str(leg.progress.value)
    if leg.tier_since is not None:
        found["days_at_tier"] = _days(leg.tier_since, day)
        since = leg.tier_since if leg.better_on is None else max(leg.tier_since, leg.better_on)
        found["days_without_improvement"] = _days(since, day)
    return found


def _since_start(leg: LimbState, day: date) -> dict[str, Answer]:
    names = ("area_reduction_percent", "area_measured_after_days")
    if leg.started_on is None:
        # With nothing on there was no start; with something on, the day of it was never recorded.
        return (
            dict.fromkeys(("days_since_start", *names), NOT_ASKED) if leg.tier in ("none", "withhold") else {}
        )
    found: dict[str, Answer] = {"days_since_start": _days(leg.started_on, day)}
    start, last = leg.start_area, leg.last_area
    if last is None and leg.wound is not None and leg.wound.value == "none":
        return {**found, **dict.fromkeys(names, NOT_ASKED)}
    if last is None:
        return found
    found["area_measured_after_days"] = _days(leg.started_on, last.on)
    if start is not None:
        found["area_reduction_percent"] = _reduction(start, last)
    return found


def _reduction(start: Given, last: Given) -> Answer:
    if NOT_DONE in (start.value, last.value):
        return NOT_DONE
    return area_reduction_percent(Fraction(str(start.value)), Fraction(str(last.value)))


def _days(since: date, day: date) -> Fraction:
    return Fraction((day - since).days)


def due_on(within: Interval, day: date, calendar: WorkingCalendar) -> date:
    """By when something is due that is found on a day: on a working day, and never later than the interval.
    A day beyond the bank holidays known counts as it is."""
    if within.kind == "working_days":
        found = day
        try:
            for _ in range(within.amount):
                found = calendar.next_working_day(found)
        except CalendarRangeError:
            return day + timedelta(days=within.amount)
        return found
    end = day + timedelta(days=within.days())
    try:
        return (end > day and calendar.last_working_day(day, end)) or end
    except CalendarRangeError:
        return end
