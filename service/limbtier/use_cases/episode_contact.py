"""A decision as a contact of its episode: made from the decision itself, or read from its record."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any, cast

from limbtier.domain.assessment import Side, day_of
from limbtier.domain.decision import Decision, LimbDecision
from limbtier.domain.episode_state import (
    Answered,
    Arranged,
    Contact,
    EpisodeEvent,
    EventKind,
    Held,
    LimbContact,
    Part,
    Stored,
    stored,
)
from limbtier.foundation.answer_states import NOT_ASKED
from limbtier.foundation.strict_json import read_json

_AREA = "wound_area_cm2"


def contact_of(decision: Decision, decision_id: str, corrects: str | None) -> Contact:
    """The contact of a decision that was just made."""
    assessment = decision.assessment
    received = assessment.received
    return Contact(
        decision_id,
        assessment.assessed_at.astimezone(UTC),
        assessment.assessed_on,
        assessment.calendar,
        _given(received["person"]),
        {side: _limb(limb, received["limbs"][side]) for side, limb in decision.limbs.items()},
        corrects,
    )


def _given(received: Mapping[str, Any]) -> Answered:
    """What was answered, as it was sent: neither what was filled in, nor what was put in its place."""
    return {name: _plain(raw) for name, raw in received.items()}


def _limb(limb: LimbDecision, received: Mapping[str, Any]) -> LimbContact:
    facts = limb.trace.facts
    found, area = facts.get("current_tier"), facts.get(_AREA)
    return LimbContact(
        _given(received),
        found if isinstance(found, str) and found != NOT_ASKED else None,
        limb.tier,
        limb.disposition,
        limb.review.due_on,
        None if area is None or area == NOT_ASKED else cast("str", stored(area)),
        tuple(Held(held.rule, held.tier, held.until) for held in limb.limits),
        tuple(Arranged(one.what, one.due_on) for one in limb.arrangements if one.due_on is not None),
    )


def part_of_record(record: Mapping[str, Any]) -> tuple[str, str, Part] | None:
    """Organisation, reference and part that an entry of the log makes up; None for other entries."""
    if record["kind"] == "decision":
        return _contact_of_record(record)
    if record["kind"] == "episode_event":
        return record["caller"]["organisation"], record["episode"], event_of_record(record)
    return None


def _contact_of_record(record: Mapping[str, Any]) -> tuple[str, str, Part] | None:
    received = read_json(record["received"].encode())
    reference = received.get("episode")
    if reference is None:
        return None
    at = datetime.fromisoformat(received["assessed_at"]).astimezone(UTC)
    episode = record.get("episode") or {"completed": ()}
    tiers = {one["scope"]: one["value"] for one in episode["completed"] if one["input"] == "current_tier"}
    contact = Contact(
        record["id"],
        at,
        day_of(at),
        received["calendar"],
        _given(received["person"]),
        {
            cast("Side", side): _limb_of_record(limb, received["limbs"][side], tiers.get(side))
            for side, limb in record["limbs"].items()
        },
        received.get("corrects"),
    )
    return record["caller"]["organisation"], reference, contact


def _limb_of_record(
    limb: Mapping[str, Any], received: Mapping[str, Any], filled_tier: str | None
) -> LimbContact:
    area = limb["measures"][_AREA]
    shown = area["shown"]
    return LimbContact(
        _given(received),
        received.get("current_tier", filled_tier),
        limb["tier"],
        limb["disposition"],
        date.fromisoformat(limb["review"]["due_on"]),
        area["exact"] or (shown if shown == "not_done" else None),
        tuple(Held(one["rule"], one["tier"], one["until"]) for one in limb["limits"]),
        tuple(
            Arranged(one["what"], date.fromisoformat(one["due_on"]))
            for one in limb["arrangements"]
            if one["due_on"] is not None
        ),
    )


def event_of_record(record: Mapping[str, Any]) -> EpisodeEvent:
    """The event of an entry."""
    event = record["event"]
    return EpisodeEvent(
        record["id"],
        cast("EventKind", event["kind"]),
        datetime.fromisoformat(record["placed_at"]),
        date.fromisoformat(event["happened_on"]),
        event["limb"],
        {one["input"]: _value(one["value"]) for one in event["person"]},
        {one["input"]: _value(one["value"]) for one in event["answers"]},
        event["tier"],
        event["reason"],
        event["arrangement"],
        event["corrects"],
    )


def _value(value: str | list[str]) -> Stored:
    return value if isinstance(value, str) else tuple(value)


def _plain(raw: Any) -> Stored:
    """An answer as it was sent, as it is kept."""
    match raw:
        case bool():
            return "yes" if raw else "no"
        case int() | Decimal():
            return str(Fraction(raw))
        case list():
            return tuple(str(Fraction(number)) for number in raw)
        case _:
            return str(raw)
