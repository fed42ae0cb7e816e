"""A danger sign that no rule takes for one."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.condition import names
from limbtier.domain.edition import Edition
from limbtier.engine.prepared import inputs_behind
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context

FACT: Final = "danger_sign"


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Inputs marked as danger signs that no rule which classifies `danger_sign` reads."""
    behind = inputs_behind(edition)
    read: set[str] = set()
    for rule in edition.rules:
        if FACT in rule.then.classify:
            read.update(*(behind.get(name, frozenset()) for name in names(rule.when)))
    for name, entry in edition.vocabulary.inputs.items():
        if entry.danger_sign and name not in read:
            message = f"`{name}` is marked as a danger sign, and no rule that classifies `{FACT}` reads it."
            advice = f"Add a rule that withholds and classifies `{FACT}`, or take the mark off."
            yield Finding("input", name, message, advice)


CHECK: Final = Check(
    id="danger-sign-without-rule",
    title="A danger sign that no rule takes for one",
    explanation=Explanation(
        finds="An input with `danger_sign: yes` that no rule classifying `danger_sign` reads.",
        why="The form shows it among the danger signs, and answering yes stops nothing. The guard rails "
        "go by the fact, so they do not see it either.",
        mend="Write the rule: limit `withhold`, review the same day, arrange help, classify `danger_sign`.",
        example="A local edition adds the input `compartment_syndrome_signs` with the mark, and forgets its "
        "rule.",
    ),
    severity="error",
    find=find,
)
