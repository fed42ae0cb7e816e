"""A sentence that is too long."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.reading_grade import sentences, words
from limbtier.governance.checks.texts import texts_of

_READ_BY_NURSES: Final = ("reason", "sentence")


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Sentences of reasons, cautions, technique, questions and wording with too many words."""
    marks = context.settings.marks
    if marks is None:
        return
    for text in texts_of(edition):
        if text.kind not in _READ_BY_NURSES:
            continue
        for sentence in sentences(text.text):
            length = len(words(sentence))
            if length > marks.words_in_a_sentence:
                beginning = " ".join(sentence.split()[:5])
                message = f"A sentence of `{text.field}` has {length} words: {beginning} ..."
                advice = f"Make two of it; {marks.words_in_a_sentence} words are the most."
                yield text.finding(message, advice)


CHECK: Final = Check(
    id="sentence-too-long",
    title="A sentence that is too long",
    explanation=Explanation(
        finds="A sentence of a reason, a caution, technique, a question, its help or the wording with "
        "more words than `words_in_a_sentence` in `checks.yaml`. Figures count as words.",
        why="In a long sentence the condition is forgotten before the instruction comes.",
        mend="Make two sentences of it, the instruction first.",
        example="`Lay it on loosely, in pleats, from the toes to the knee, because it tightens ..., and "
        "cover it.`",
    ),
    severity="warning",
    find=find,
)
