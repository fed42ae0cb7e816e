"""Ids of cards and suggestions, computed from the id of the decision behind them, and back again.

So feedback that names a card leads to its decision in the log, on every worker and for as long as the log
exists, and nothing is kept for it. A decision's id is a UUID of version 4. The card of its left leg has the
same digits as a UUID of version 8 (RFC 9562, 5.8: what it holds is our own), that of its right leg the same
with the last bit turned over.
"""

from __future__ import annotations

import re
import uuid
from typing import Final

from limbtier.domain.assessment import Side

_VERSION_PLACE: Final = 14
_DECISION: Final = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
_CARD: Final = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")


def card_id(decision_id: str, side: Side) -> str:
    """The id of the card of a leg. Raises ValueError unless the decision's id is a UUID of version 4."""
    if not _DECISION.fullmatch(decision_id):
        raise ValueError("no id of a decision")
    return _turned(_versioned(decision_id, "8"), side)


def decisions_of(card: str) -> tuple[tuple[str, Side], ...]:
    """The decision that a card can belong to, for each leg that it can be of; none for what is no card's id.
    At most one of the two exists: the other differs from a random id in one bit."""
    card = card.lower()
    if not _CARD.fullmatch(card):
        return ()
    return tuple((_versioned(_turned(card, side), "4"), side) for side in ("left", "right"))


def suggestion_id(card: str) -> str:
    """The id of a card's one suggestion."""
    return str(uuid.uuid5(uuid.UUID(card), "suggestion"))


def _versioned(text: str, version: str) -> str:
    return text[:_VERSION_PLACE] + version + text[_VERSION_PLACE + 1 :]


def _turned(text: str, side: Side) -> str:
    return text if side == "left" else text[:-1] + f"{int(text[-1], 16) ^ 1:x}"
