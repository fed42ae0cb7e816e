"""What the record of a decision says was filled in from its episode, to fill it in again."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, Final

from limbtier.engine.episode_completion import Filled, Recorded
from limbtier.foundation.diagnostics import Diagnostic

HISTORY_WARNINGS: Final = ("differs-from-history", "older-measurement", "later-contacts")
"""Warnings that come of the history of an episode."""


def recorded(record: Mapping[str, Any]) -> Recorded | None:
    """What a decision record says was filled in; None for a decision without an episode."""
    episode = record.get("episode")
    if episode is None:
        return None
    return Recorded(
        tuple(
            Filled(
                one["scope"],
                one["input"],
                tuple(one["value"]) if isinstance(one["value"], list) else one["value"],
                date.fromisoformat(one["on"]),
                one["entry"],
                one["instead_of"],
            )
            for one in episode["completed"]
        ),
        tuple(
            Diagnostic(one["code"], one["message"], one["help"], one["pointer"], severity="warning")
            for one in record["warnings"]
            if one["code"] in HISTORY_WARNINGS
        ),
    )
