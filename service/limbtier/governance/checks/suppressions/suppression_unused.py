"""An accepted finding that is no longer found."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(_edition: Edition, context: Context) -> Iterable[Finding]:
    """Suppressions of checks that were run and that met no finding."""
    for suppression, met in context.suppressions:
        if not met:
            message = (
                f"`{suppression.check}` finds nothing about the {suppression.part} `{suppression.name}`."
            )
            yield Finding(
                "suppression",
                suppression.check,
                message,
                "Take the suppression out, or correct its `part` and `name`.",
                suppression.file,
                suppression.line,
            )


CHECK: Final = Check(
    id="suppression-unused",
    title="An accepted finding that is not found",
    explanation=Explanation(
        finds="An entry under `suppressions` in `checks.yaml` that met no finding of its check.",
        why="What was wrong has been mended, or the name was mistyped. Left there it would hide the "
        "next mistake.",
        mend="Take it out, or correct `part` and `name`.",
        example="A question that was `unused-input` is read by a rule now, and its suppression is still "
        "there.A question that was `unused-input` is read by a rule now, and its suppression is "
        "still there.",
    ),
    severity="warning",
    find=find,
    judges_suppressions=True,
)
