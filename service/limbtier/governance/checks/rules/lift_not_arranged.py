"""A limit that waits for something which its rule does not arrange."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.context import Context


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Limits with `until` whose rule arranges none of what brings it, by the list of `checks.yaml`."""
    for rule in edition.rules:
        limit = rule.then.limit
        bringing = context.settings.brought_by.get(limit.until or "", ()) if limit else ()
        arranged = [one.what for one in rule.then.arrange]
        if limit is None or not bringing or set(arranged) & set(bringing):
            continue
        has = ", ".join(f"`{what}`" for what in arranged) or "nothing"
        message = (
            f"The limit waits for `{limit.until}`, and the rule arranges {has}, which does not bring it."
        )
        advice = f"Arrange one of {', '.join(f'`{what}`' for what in bringing)}, or correct `until`."
        yield about_rule(rule, message, advice)


CHECK: Final = Check(
    id="lift-not-arranged",
    title="A limit that waits for what nobody arranges",
    explanation=Explanation(
        finds="A limit with `until` whose rule arranges only things that do not bring it. Which "
        "arrangements bring a lift stands under `brought_by` in `checks.yaml`; a lift that is not "
        "there is not judged.",
        why="The step-up plan promises the lift by the deadline of an arrangement that cannot bring it.",
        mend="Arrange what brings it, correct `until`, or add the arrangement to `brought_by`.",
        example="`until: specialist_advice` with `arrange: {what: toe_pressure, ...}`: nobody asks the "
        "specialist.",
    ),
    severity="warning",
    find=find,
)
