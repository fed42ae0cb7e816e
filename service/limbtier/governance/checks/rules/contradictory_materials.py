"""A material that one rule chooses wherever another avoids it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.conditions import implies
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Materials chosen by a rule that applies only where a rule that avoids them applies too."""
    avoiding = [rule for rule in edition.rules if rule.then.avoid]
    for rule in edition.rules:
        for other in avoiding:
            both = sorted(set(rule.then.choose) & set(other.then.avoid))
            if both and other.id != rule.id and implies(rule.when, other.when):
                named = ", ".join(f"`{name}`" for name in both)
                message = f"The rule chooses {named}, and `{other.id}` avoids this wherever the rule applies."
                yield about_rule(rule, message, "Take it out of one of the two; avoiding wins over choosing.")


CHECK: Final = Check(
    id="contradictory-materials",
    title="A material chosen and avoided together",
    explanation=Explanation(
        finds="A rule that chooses a material, and another that avoids it and applies wherever the first "
        "one does.",
        why="Avoiding wins, so that the choice is never seen. One of the two rules is not what its "
        "author meant.",
        mend="Take the material out of `choose` or out of `avoid`, or narrow the rule that avoids it.",
        example="`leaking: yes` with high exudate chooses `hosiery_kit`, and `leaking: yes` avoids it.",
    ),
    severity="error",
    find=find,
)
