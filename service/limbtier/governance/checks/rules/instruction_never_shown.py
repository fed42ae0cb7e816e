"""A sentence on technique that no decision shows."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.domain.rule import Rule
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Rules whose `instruct_at` and `instruct_with` leave no decision in which `instruct` is shown."""
    chosen = {name for rule in edition.rules for name in rule.then.choose}
    for rule in edition.rules:
        if rule.then.instruct and (says := _says(edition, rule, chosen)):
            yield about_rule(rule, says, "Correct `instruct_at` or `instruct_with`.")


def _says(edition: Edition, rule: Rule, chosen: set[str]) -> str | None:
    lowest = edition.tiers[0].name
    at, used = rule.then.instruct_at, rule.then.instruct_with
    tiers = set(at or [tier.name for tier in edition.tiers]) - {lowest}
    if not tiers:
        return f"`instruct` is shown only at `{lowest}`, where nothing is put on and no technique is shown."
    if used and not set(used) & chosen:
        return "`instruct` is shown only with materials that no rule chooses."
    if used and not any(tiers & set(edition.materials[name].tiers) for name in used):
        return "`instruct` is shown only at tiers which none of its materials serves."
    return None


CHECK: Final = Check(
    id="instruction-never-shown",
    title="Technique that is never shown",
    explanation=Explanation(
        finds="`instruct` with `instruct_at` only at withholding, with materials that no rule chooses, or "
        "with materials that serve none of its tiers.",
        why="The nurse is never told what was written for her.",
        mend="Correct `instruct_at` or `instruct_with`.",
        example="`instruct_at: strong` and `instruct_with: light_bandage_spiral`, which serves mild only.",
    ),
    severity="error",
    find=find,
)
