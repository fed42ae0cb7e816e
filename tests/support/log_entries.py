"""Invented entries of a log."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from hashlib import sha256

import orjson

from limbtier.domain.entry import DecidedLimb, DecisionIndex, Entry, Retry
from limbtier.foundation.canonical_json import canonical

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def other_entry(number: int = 0, entry_id: str | None = None) -> Entry:
    """Return an entry that is no decision."""
    entry_id = entry_id or str(uuid.uuid4())
    data = canonical({"id": entry_id, "kind": "act_refused", "number": number})
    return Entry("act_refused", entry_id, None, NOON, data)


def decision_entry(
    number: int = 0,
    *,
    organisation: str = "quillerbeck",
    edition: str = "core-2026.1.0",
    episode: str | None = None,
    at: datetime | None = None,
    limbs: tuple[DecidedLimb, ...] = (DecidedLimb("left", "mild", "start", ("wet-review", "plain-leg")),),
    key: str | None = None,
    payload: bytes = b"p" * 32,
    size: int = 0,
) -> Entry:
    """Return a decision entry; `number` seconds after noon unless `at` says otherwise."""
    entry_id = str(uuid.uuid4())
    decided_at = at or NOON + timedelta(seconds=number)
    data = canonical(
        {
            "caller": {"id": "caller-1", "organisation": organisation},
            "decided_at": decided_at.isoformat(),
            "edition": {"id": edition},
            "id": entry_id,
            "kind": "decision",
            "limbs": {
                limb.side: {
                    "disposition": limb.disposition,
                    "reasons": [{"rule": rule} for rule in limb.rules],
                    "tier": limb.tier,
                }
                for limb in limbs
            },
            "number": number,
            "received": orjson.dumps({"episode": episode}).decode() if episode != "\ud800" else "{}",
            "text": _text(size),
        }
    )
    return Entry(
        "decision",
        entry_id,
        organisation,
        decided_at,
        data,
        DecisionIndex(edition, episode, decided_at, limbs),
        None if key is None else Retry("caller-1", key, payload),
    )


def _text(size: int) -> str:
    """Text that does not compress to nothing, the same every time."""
    return "".join(sha256(str(place).encode()).hexdigest() for place in range(size // 64 + 1))[:size]
