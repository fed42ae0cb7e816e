"""An answer that a rule tests and that no worked case gives."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.condition import ValueTest, tests
from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.context import Context


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Values that rules test and that no worked case has, each once, at the first rule that tests it."""
    given = {
        (name, answer)
        for decided in context.cases
        for name, answer in decided.facts.items()
        if isinstance(answer, str)
    }
    told: set[tuple[str, str]] = set()
    for rule in edition.rules:
        for test in tests(rule.when):
            for value in test.values if isinstance(test, ValueTest) else ():
                if (test.name, value) not in given and (test.name, value) not in told:
                    told.add((test.name, value))
                    message = f"The rule tests `{test.name}: {value}`, which no worked case has."
                    yield about_rule(rule, message, f"Add a case with `{test.name}: {value}`.")


CHECK: Final = Check(
    id="value-without-case",
    title="An answer that no worked case gives",
    explanation=Explanation(
        finds="A value that a rule tests and that no worked case has, among answers, measures and derived "
        "facts.",
        why="A rule that lists four diseases may apply in a case of one, and be wrong for another.",
        mend="Add a case with that answer.",
        example="`inflammatory_cause: [vasculitis, sickle_cell]`, and every case has vasculitis.",
    ),
    severity="warning",
    find=find,
)
