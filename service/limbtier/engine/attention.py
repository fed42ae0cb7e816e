"""From which day an episode needs somebody although no review is due: worked out when its state changes.

A watch rule reads the day through numbers that grow by one a day. So it can begin to apply only on a day on
which one of them comes to, or passes, an edge of the rule; those days are tried, and no other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from fractions import Fraction
from math import floor
from typing import Final

from limbtier.domain.condition import EdgeTest, names, tests
from limbtier.domain.due_reviews import AttentionDays, DueTerms
from limbtier.domain.episode_state import EpisodeState, LimbState
from limbtier.engine.compiled import compile_rules
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.watch import Watch, watch_facts

GROWING: Final = (
    "days_since_first_contact",
    "days_at_tier",
    "days_without_improvement",
    "days_since_start",
    "days_past_review",
)
"""The measures that are one more on every day on which nothing happens; all others stay."""
LASTING: Final = ("days_since_first_contact", "full_assessment")
"""What was so on every day since the first contact, as long as there is no result: a leg that is seen again
without the test has waited for it since then."""


class Attention:
    """The days on which open episodes come onto the due list; for any number of threads."""

    def __init__(self, watch: Watch, terms: DueTerms) -> None:
        self._stuck = len(terms.stuck_on_starter_tier)
        rules = {one.rule.id: one.rule for one in watch.pathway.watch}
        wanted = [rules[name] for name in (*terms.stuck_on_starter_tier, *terms.assessment_overdue)]
        self._compiled = compile_rules(wanted, [0] * len(wanted))
        self._lasting = [
            place
            for place, rule in enumerate(wanted)
            if place >= self._stuck and names(rule.when) <= set(LASTING)
        ]
        self._early = sorted(
            {edge for place in self._lasting for _, edge in _edges(tests(wanted[place].when))} | {0}
        )
        self._edges = sorted(set(_edges(test for rule in wanted for test in tests(rule.when))))

    def days(self, state: EpisodeState) -> AttentionDays:
        """The first day of each sort on which a rule of it surely applies to a leg.

        It is looked for from the last contact on, because of the days before it only some things are known;
        from the first contact on where a rule of the full assessment reads nothing but these.
        """
        if state.closed_on is not None:
            return AttentionDays()
        found = [self._of_leg(leg) for leg in state.limbs.values()]
        return AttentionDays(
            min((one.stuck_on for one in found if one.stuck_on), default=None),
            min((one.assessment_on for one in found if one.assessment_on), default=None),
        )

    def _of_leg(self, leg: LimbState) -> AttentionDays:
        last = leg.last_contact_on
        stuck = assessment = None
        early = (leg.first_contact_on + timedelta(days=edge) for edge in self._early if self._lasting)
        for day in sorted({*(day for day in early if day < last), *self._days(last, leg)}):
            states = self._compiled.read(watch_facts(leg, day))[0]
            if day < last:
                if assessment is None and any(states[place] == APPLIES for place in self._lasting):
                    assessment = day
                continue
            if stuck is None and APPLIES in states[: self._stuck]:
                stuck = day
            if assessment is None and APPLIES in states[self._stuck :]:
                assessment = day
        return AttentionDays(stuck, assessment)

    def _days(self, first: date, leg: LimbState) -> Iterator[date]:
        facts = watch_facts(leg, first)
        yield first
        if leg.unsettled_on is not None:
            yield leg.unsettled_on + timedelta(days=1)
        for name, edge in self._edges:
            now = facts.get(name)
            if isinstance(now, Fraction) and edge > now:
                yield first + timedelta(days=int(edge - now))


def _edges(found: Iterable[object]) -> Iterator[tuple[str, int]]:
    """The first whole number on the other side of each edge, of the measures that grow."""
    for test in found:
        if isinstance(test, EdgeTest) and test.name in GROWING:
            for edge in (test.at_least, test.below):
                if edge is not None:
                    yield test.name, -floor(-edge)
            for edge in (test.above, test.at_most):
                if edge is not None:
                    yield test.name, floor(edge) + 1
