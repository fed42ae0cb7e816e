"""Keeps feedback on cards: what happened to which card of which decision, and why, in codes only."""

from __future__ import annotations

import hashlib
import uuid
from typing import Any, Final

import orjson

from limbtier.audit.log import Log
from limbtier.domain.assessment import Side
from limbtier.domain.caller import Caller
from limbtier.domain.entry import Entry
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.clock import Clock, now
from limbtier.foundation.diagnostics import Diagnostic, pointer
from limbtier.foundation.strict_json import read_json
from limbtier.interop.cds_hooks.card_ids import decisions_of
from limbtier.interop.cds_hooks.cards import CardSite, card_rules
from limbtier.interop.cds_hooks.codes import override_reasons
from limbtier.interop.cds_hooks.feedback import CardFeedback, InvalidFeedback, read_feedback
from limbtier.store.faults import Conflict

KIND: Final = "card_feedback"


def keep_card_feedback(
    body: bytes, caller: Caller, site: CardSite, log: Log, clock: Clock = now
) -> tuple[int, int]:
    """Keep every entry of a feedback; how many are new, and how many were kept before. It waits for the disk.

    Raises NotJson, InvalidFeedback also for a card of another organisation, or StoreUnavailable; what was
    kept until then stays, and the same feedback can be sent again.
    """
    feedback = read_feedback(read_json(body), site.words.override_reasons, override_reasons(site.names))
    decisions = [_decision(one.card, caller, log) for one in feedback]
    unknown = [
        Diagnostic(
            "unknown-card",
            "No card has this id.",
            "Give the `uuid` of a card that this service answered with.",
            pointer("feedback", place, "card"),
        )
        for place, found in enumerate(decisions)
        if found is None
    ]
    if unknown:
        raise InvalidFeedback(unknown)
    new = 0
    for one, found in zip(feedback, decisions, strict=True):
        if found is None:
            raise AssertionError("a card without decision was named above")
        try:
            log.append(_entry(one, found[0], found[1], caller, clock))
            new += 1
        except Conflict:  # sent before
            continue
    return new, len(feedback) - new


def _decision(card: str, caller: Caller, log: Log) -> tuple[dict[str, Any], Side] | None:
    """The decision behind a card and its leg, if they are this organisation's."""
    for decision_id, side in decisions_of(card):
        data = log.decision(decision_id, caller.organisation)
        if data is not None:
            record: dict[str, Any] = orjson.loads(data)
            if side in record["limbs"]:
                return record, side
    return None


def _entry(feedback: CardFeedback, record: dict[str, Any], side: Side, caller: Caller, clock: Clock) -> Entry:
    limb = record["limbs"][side]
    entry_id = _entry_id(feedback, caller)
    at = clock()
    kept = {
        "at": at.isoformat(),
        "caller": {"id": caller.id, "organisation": caller.organisation},
        "card": feedback.card,
        "decision": record["id"],
        "disposition": limb["disposition"],
        "edition": {"digest": record["edition"]["digest"], "id": record["edition"]["id"]},
        "id": entry_id,
        "kind": KIND,
        "leg": side,
        "outcome": feedback.outcome,
        "outcome_at": feedback.at.isoformat(),
        "reason": feedback.reason,
        "rules": card_rules(limb),
        "tier": limb["tier"],
    }
    return Entry(KIND, entry_id, caller.organisation, at, canonical(kept))


def _entry_id(feedback: CardFeedback, caller: Caller) -> str:
    """The same for the same feedback, so that what is sent again is kept once."""
    said = canonical(
        [
            caller.organisation,
            feedback.card,
            feedback.outcome,
            feedback.reason,
            feedback.at.isoformat(),
        ]
    )
    digest = bytearray(hashlib.sha256(said).digest()[:16])
    digest[6] = 0x80 | digest[6] & 0x0F  # version 8 (RFC 9562, 5.8)
    digest[8] = 0x80 | digest[8] & 0x3F
    return str(uuid.UUID(bytes=bytes(digest)))
