"""A period of the settings in which no worked case falls."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context


def find(edition: Edition, context: Context) -> Iterable[Finding]:
    """Values of settings that hold while the edition is used, on no day of which a case is assessed."""
    days = [decided.assessed_on for decided in context.cases]
    for setting in edition.settings.values():
        for dated in setting.values:
            last = dated.effective_to
            if last is not None and last < edition.effective_from:
                continue
            if not any(dated.effective_from <= day and (last is None or day <= last) for day in days):
                until = f"until {last}" if last else "on"
                message = f"No worked case falls into the days from {dated.effective_from} {until}."
                advice = f"Add a case on a day on which `{setting.name}` is `{dated.value}`."
                yield Finding("setting", setting.name, message, advice)


CHECK: Final = Check(
    id="period-without-case",
    title="A dated value without a worked case",
    explanation=Explanation(
        finds="A value of a setting on none of whose days a worked case is assessed.",
        why="The change on that day was planned, and nobody has looked at what it does.",
        mend="Add a case that is assessed on one of these days.",
        example="`routine_vascular_referral` falls to 10 days on 1 July, and every case is of March.",
    ),
    severity="warning",
    find=find,
)
