"""Rules and editions as JSON-able records, the same wherever they are shown."""

from __future__ import annotations

from typing import Any

from limbtier.domain.condition import AllOf, AnyOf, Condition, EdgeTest, NoneOf, ValueTest
from limbtier.domain.edition import Edition
from limbtier.domain.interval import SettingReference, Within
from limbtier.domain.rule import Conclusions
from limbtier.use_cases.answer_text import required_text


def edition_summary(edition: Edition, guard_rails: str) -> dict[str, str]:
    """Which edition decided: enough to find it again and to see that it is the same."""
    return {
        "id": edition.id,
        "title": edition.title,
        "status": edition.status,
        "digest": edition.digest,
        "guard_rails": guard_rails,
    }


def conclusions(then: Conclusions) -> dict[str, Any]:
    """What a rule concludes, without what is not set."""
    found: dict[str, Any] = {}
    if then.propose:
        found["propose"] = then.propose
    if then.limit:
        found["limit"] = {"tier": then.limit.tier, "until": then.limit.until}
    if then.review:
        found["review"] = {"within": _within(then.review)}
    if then.arrange:
        found["arrange"] = [{"what": entry.what, "within": _within(entry.within)} for entry in then.arrange]
    for name in ("classify", "choose", "avoid", "caution", "instruct", "instruct_at", "instruct_with"):
        if getattr(then, name):
            found[name] = getattr(then, name)
    return found


def condition_record(condition: Condition) -> dict[str, Any]:
    """A condition as nested mappings, for reading."""
    match condition:
        case ValueTest() | EdgeTest():
            return {"input": condition.name, "required": required_text(condition)}
        case AllOf(parts):
            return {"all_of": [condition_record(part) for part in parts]}
        case AnyOf(parts):
            return {"any_of": [condition_record(part) for part in parts]}
        case NoneOf(parts):
            return {"none_of": [condition_record(part) for part in parts]}


def _within(within: Within) -> str:
    return f"setting {within.setting}" if isinstance(within, SettingReference) else str(within)
