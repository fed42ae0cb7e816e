"""A setting that nothing uses."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.domain.interval import SettingReference
from limbtier.governance.checks.check import Check, Explanation, Finding
from limbtier.governance.checks.context import Context
from limbtier.rulesets.read_settings import DEADLINE_SETTINGS, NUMBER_SETTINGS, REVIEW_SETTINGS


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Settings that neither a rule nor the engine reads."""
    used = {*REVIEW_SETTINGS, *DEADLINE_SETTINGS, *NUMBER_SETTINGS}
    for rule in edition.rules:
        for within in (rule.then.review, *(one.within for one in rule.then.arrange)):
            if isinstance(within, SettingReference):
                used.add(within.setting)
    for name in edition.settings:
        if name not in used:
            message = f"No rule uses the setting `{name}`: changing it would change nothing."
            advice = f"Write `within: {{setting: {name}}}` where it is meant to count, or take it out."
            yield Finding("setting", name, message, advice)


CHECK: Final = Check(
    id="unused-setting",
    title="A setting that nothing uses",
    explanation=Explanation(
        finds="A setting that no rule names under `within`, and that the engine does not read.",
        why="A team that sets it anew believes that deadlines have changed.",
        mend="Use it in the rule that has the interval written out, or take it out.",
        example="`routine_vascular_referral` is set to 10 days, and the rule still says `within: 14 days`.",
    ),
    severity="error",
    find=find,
)
