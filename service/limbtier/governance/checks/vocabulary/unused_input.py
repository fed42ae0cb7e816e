"""An input that nothing reads."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.condition import names
from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.measures.registry import MEASURES

# What the engine reads by name, whatever the rules do: for the table of dispositions, deadlines, the order of
# dates, and the estimates that go with materials.
READ_BY_ENGINE: Final = frozenset(
    {
        "ankle_girth_cm",
        "calf_girth_cm",
        "compression_started_on",
        "current_tier",
        "current_tier_since",
        "dressing_thickness_mm",
        "first_contact_on",
        "girth_series_cm",
    }
)


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Inputs that no rule, guard rail, measure, question or part of the engine reads."""
    inputs = edition.vocabulary.inputs
    read = set(READ_BY_ENGINE)
    for rule in edition.rules:
        read |= names(rule.when)
    for rail in context.guard_rails.rails:
        for guard_check in rail.checks:
            read |= names(guard_check.when)
    for measure in MEASURES:
        read.update(measure.ingredients)
    for entry in inputs.values():
        if entry.asked_when is not None:
            read |= names(entry.asked_when)
    for name in inputs:
        if name not in read:
            message = f"Nothing reads the input `{name}`: its answer changes no decision."
            yield Finding("input", name, message, "Read it in a rule, or take the question out.")


CHECK: Final = Check(
    id="unused-input",
    title="An input that nothing reads",
    explanation=Explanation(
        finds="An input that no rule, guard rail, measure or other question reads, nor the engine itself.",
        why="Nurses answer a question for nothing, and may believe that the answer was weighed.",
        mend="Write the rule that was meant to read it, or take the question out of the vocabulary.",
        example="An input `smoker` is added, and the rule about smokers is left for later.",
    ),
    severity="error",
    find=find,
)
