"""A reason that is too hard to read."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.condition_words import number_words
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.reading_grade import reading_grade


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Reasons above the grade level that `checks.yaml` allows."""
    marks = context.settings.marks
    if marks is None:
        return
    for rule in edition.rules:
        grade = reading_grade(rule.because)
        if grade is not None and grade > marks.reading_grade:
            message = (
                f"The reason reads at grade {float(grade):.1f}, above {number_words(marks.reading_grade)} "
                "(Flesch-Kincaid)."
            )
            yield about_rule(rule, message, "Use shorter sentences, and shorter words where there are any.")


CHECK: Final = Check(
    id="hard-to-read",
    title="A reason that is hard to read",
    explanation=Explanation(
        finds="A `because` whose Flesch-Kincaid grade level (Kincaid and others 1975: long sentences and "
        "long words) is above `reading_grade` in `checks.yaml`. Syllables are counted by spelling.",
        why="The reason is read at the bedside, by a tired nurse, and shown to patients who ask.",
        mend="Make two sentences of one. Say the plain word where the long one is no term of the trade.",
        example="`Pain on walking, pulses that are absent, a one-phase sound, known disease or a low index "
        "each point to a poor supply` becomes `Each of these points to a poor supply.`",
    ),
    severity="warning",
    find=find,
)
