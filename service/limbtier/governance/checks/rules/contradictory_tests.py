"""A rule, or an alternative of one, whose tests exclude one another."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.condition import AllOf
from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.condition_words import condition_words
from limbtier.governance.checks.conditions import branches, narrowed
from limbtier.governance.checks.context import Context

ADVICE: Final = "Correct one of the tests; as written this can never hold."


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Conditions whose tests leave no value or number, by their structure and by what is asked when."""
    for rule in edition.rules:
        if narrowed(edition, rule.when, {}) is None:
            message = f"The tests exclude one another: {condition_words(rule.when)}."
            yield about_rule(rule, message, ADVICE)
            continue
        for beside, alternative in branches(rule.when):
            held = narrowed(edition, AllOf(beside), {})
            if held is not None and narrowed(edition, alternative, held) is None:
                message = (
                    f"The alternative {condition_words(alternative)} can never hold beside the other tests."
                )
                yield about_rule(rule, message, ADVICE)


CHECK: Final = Check(
    id="contradictory-tests",
    title="Tests that exclude one another",
    explanation=Explanation(
        finds="A rule, or one entry of its `any_of`, whose tests on the same name exclude one another, or "
        "that tests a question which is not asked where its other tests hold.",
        why="It never applies, and the people it was written for are passed over.",
        mend="Correct the test that is wrong; look at the condition under which the question is asked.",
        example="`wound: none` beside `any_of: [{exudate: high}, ...]`: exudate is asked only where there "
        "is a wound.",
    ),
    severity="error",
    find=find,
)
