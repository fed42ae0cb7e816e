"""What happened to the cards of an organisation: which rules were followed or overridden, and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

import orjson

from limbtier.domain.card_words import CardWords
from limbtier.interop.cds_hooks.feedback import OTHER_REASON
from limbtier.store.entries import EntryStore
from limbtier.use_cases.keep_card_feedback import KIND

NOT_GIVEN = "not_given"
"""Stands for an overridden card without a reason."""


def summarise_feedback(
    store: EntryStore,
    organisation: str,
    words: CardWords,
    since: datetime | None = None,
    before: datetime | None = None,
) -> dict[str, Any]:
    """The feedback of an organisation whose outcome fell into a period; `since` is included, `before` is not.

    A card counts once, with its latest outcome: it can be overridden first and accepted later. Raises
    StoreUnavailable.
    """
    latest: dict[str, tuple[datetime, Mapping[str, Any]]] = {}
    for entry in store.entries_of_kind(KIND, organisation):
        record = orjson.loads(entry.data)
        at = datetime.fromisoformat(record["outcome_at"])
        if (since is not None and at < since) or (before is not None and at >= before):
            continue
        known = latest.get(record["card"])
        if known is None or known[0] <= at:
            latest[record["card"]] = (at, record)
    cards = [record for _, record in latest.values()]
    rules = sorted({(rule, card["edition"]["id"]) for card in cards for rule in card["rules"]})
    summarised = [
        {
            "rule": rule,
            "edition": edition,
            **_counted(card for card in cards if card["edition"]["id"] == edition and rule in card["rules"]),
        }
        for rule, edition in rules
    ]
    summarised.sort(key=lambda one: (-one["overridden"], one["rule"], one["edition"]))
    return {
        "organisation": organisation,
        "since": None if since is None else since.isoformat(),
        "before": None if before is None else before.isoformat(),
        **_counted(cards),
        "rules": summarised,
        "reason_words": {
            **{code: reason.display for code, reason in words.override_reasons.items()},
            NOT_GIVEN: "No reason was given",
            OTHER_REASON: "A reason of the client's own, not kept",
        },
    }


def _counted(cards: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    counted = list(cards)
    overridden = [card for card in counted if card["outcome"] == "overridden"]
    reasons = Counter(card["reason"] or NOT_GIVEN for card in overridden)
    return {
        "cards": len(counted),
        "accepted": len(counted) - len(overridden),
        "overridden": len(overridden),
        "reasons": dict(sorted(reasons.items(), key=lambda one: (-one[1], one[0]))),
    }


def feedback_text(summary: Mapping[str, Any]) -> str:
    """The summary for a person at a terminal."""
    words = summary["reason_words"]
    counts = f"{summary['cards']} cards, {summary['accepted']} accepted, {summary['overridden']} overridden"
    lines = [f"Feedback on cards of {summary['organisation']}: {counts}."]
    lines += [f"  {count:5}  {words.get(code, code)}" for code, count in summary["reasons"].items()]
    if summary["rules"]:
        lines += ["", "By the rules that the tier rested on (a card may rest on several):"]
    for rule in summary["rules"]:
        lines.append(
            f"  {rule['rule']} ({rule['edition']}): {rule['overridden']} of {rule['cards']} overridden"
        )
        lines += [f"  {count:7}  {words.get(code, code)}" for code, count in rule["reasons"].items()]
    return "\n".join(lines) + "\n"
