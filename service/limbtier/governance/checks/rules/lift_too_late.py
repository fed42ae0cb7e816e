"""A limit that waits longer than the longest time between two reviews."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.domain.interval import Interval
from limbtier.domain.rule import Rule
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Limits with `until` of which the earliest arrangement is due after the longest review, on some day."""
    starts = {dated.effective_from for setting in edition.settings.values() for dated in setting.values}
    for rule in edition.rules:
        for day in sorted(starts):
            longest = edition.settings["review_always"].on(day)
            soonest = min(
                (_days(edition.interval(one.within, day)) for one in rule.then.arrange), default=None
            )
            if not _waits(rule) or soonest is None or not isinstance(longest, Interval):
                continue
            if soonest > longest.days():
                message = (
                    f"What would lift this limit is due after {soonest} days, a review within {longest}."
                )
                yield about_rule(rule, message, "Arrange it sooner, at the latest for the next review.")
                break


def _waits(rule: Rule) -> bool:
    return rule.then.limit is not None and rule.then.limit.until is not None


def _days(interval: Interval) -> int:
    """At least so many days; working days and days of the first contact are counted as days."""
    if interval.kind in ("working_days", "days_of_first_contact"):
        return interval.amount
    return interval.days()


CHECK: Final = Check(
    id="lift-too-late",
    title="A limit that outlasts the next review",
    explanation=Explanation(
        finds="A limit with `until` whose rule arranges nothing that is due within the longest time "
        "between two reviews (the setting `review_always`).",
        why="The next review finds the leg as it was, because nothing could have changed. People stay "
        "on a gentle start for weeks.",
        mend="Arrange it sooner, or arrange something else first that could lift the limit.",
        example="`limit: {tier: mild, until: specialist_advice}` and `within: 42 days`, with reviews every "
        "28 days.",
    ),
    severity="error",
    find=find,
)
