"""An arrangement that no rule asks for."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Arrangements that no rule arranges."""
    arranged = {one.what for rule in edition.rules for one in rule.then.arrange}
    for name in edition.arrangements:
        if name not in arranged:
            message = f"No rule arranges `{name}`."
            yield Finding("arrangement", name, message, "Arrange it in a rule, or take its words out.")


CHECK: Final = Check(
    id="unused-arrangement",
    title="An arrangement that no rule asks for",
    explanation=Explanation(
        finds="An entry of `arrangements.yaml` that no rule names under `arrange`.",
        why="The service it names is never told. A rule was forgotten, or names another arrangement by "
        "mistake.",
        mend="Arrange it where it belongs, or take the entry out.",
        example="`acute_foot_service` has its words, and the rule for a hot foot arranges "
        "`foot_service_referral`.",
    ),
    severity="warning",
    find=find,
)
