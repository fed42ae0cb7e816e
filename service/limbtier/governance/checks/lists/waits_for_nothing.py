"""An arrangement that is to come before something nobody arranges."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """`before` with an arrangement that no rule arranges."""
    arranged = {one.what for rule in edition.rules for one in rule.then.arrange}
    for rule in edition.rules:
        for arrange in rule.then.arrange:
            for later in arrange.before:
                if later not in arranged:
                    message = f"`{arrange.what}` comes before `{later}`, which no rule arranges."
                    advice = "Name the arrangement that is meant to wait, or take it out of `before`."
                    yield about_rule(rule, message, advice)


CHECK: Final = Check(
    id="waits-for-nothing",
    title="An order among things of which one is never arranged",
    explanation=Explanation(
        finds="An arrangement named under `before` that no rule arranges.",
        why="What was meant to wait is arranged under another name, and does not wait.",
        mend="Name that other arrangement, or take the entry out of `before`.",
        example="A suspected thrombosis comes before `arterial_test`, and the test is arranged as "
        "`full_assessment`.",
    ),
    severity="warning",
    find=find,
)
