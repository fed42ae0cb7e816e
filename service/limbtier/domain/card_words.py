"""What cards say beside the words of an edition, and the reasons for overriding one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

Indicator = Literal["info", "warning", "critical"]
INDICATORS: Final[tuple[Indicator, ...]] = ("info", "warning", "critical")
"""In order of increasing urgency (CDS Hooks 2.0)."""

LONGEST_SUMMARY: Final = 139
"""Characters of the summary of a card: fewer than 140 (CDS Hooks 2.0)."""


@dataclass(frozen=True, slots=True)
class OverrideReason:
    """Why a card was not followed, in the words of the governance team. `code` is stable."""

    code: str
    display: str


@dataclass(frozen=True, slots=True)
class CardWords:
    """Words for cards. `indicators` by disposition; `summaries` by disposition and for `danger_sign`,
    `other_leg_waits`, `overdue` and `no_assessment`; `notes` for the last two. They may hold `{leg}`,
    `{tier}` and `{day}`."""

    version: str
    topic: str
    indicators: Mapping[str, Indicator]
    summaries: Mapping[str, str]
    notes: Mapping[str, str]
    override_reasons: Mapping[str, OverrideReason]
