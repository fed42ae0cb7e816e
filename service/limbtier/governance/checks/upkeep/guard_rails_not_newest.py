"""An edition in the making that is bound by earlier guard rails than there are."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """A draft that names an earlier version of the guard rails than the newest."""
    if edition.status != "draft" or not context.guard_rail_versions:
        return
    newest = max(context.guard_rail_versions, key=_order)
    if _order(edition.guard_rails) < _order(newest):
        message = f"The edition is bound by the guard rails {edition.guard_rails}; there are {newest}."
        advice = f"Write `guard_rails: {newest}`, or base the edition on one that does."
        yield Finding("edition", edition.id, message, advice)


def _order(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split("."))


CHECK: Final = Check(
    id="guard-rails-not-newest",
    title="A draft under old guard rails",
    explanation=Explanation(
        finds="A draft that names an earlier version of the guard rails than the newest in the folder "
        "`guard_rails`.",
        why="New guard rails were written because something got past the old ones.",
        mend="Name the newest version, and run the check again. A released edition keeps the version it "
        "was judged by.",
        example="`guard_rails: 1.0.0` in a draft, with `guard_rails/1.1.0.yaml` there.",
    ),
    severity="error",
    find=find,
)
