"""An episode as it is shown: what is known of it, what is to be seen to, and its contacts and events."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, Final

from limbtier.domain.assessment import SIDES, day_of
from limbtier.domain.episode_state import Contact, EpisodeEvent, Given, LimbState, Part
from limbtier.measures.working_days import WorkingCalendar
from limbtier.store.episodes import FoundPart
from limbtier.use_cases.episodes import Episodes, watch_record
from limbtier.use_cases.keep_event import unknown_episode

MOST_PARTS: Final = 100
"""Contacts and events shown at once, the last to arrive."""


def read_episode(
    episodes: Episodes, calendars: Mapping[str, WorkingCalendar], organisation: str, reference: str
) -> dict[str, Any]:
    """The episode as a record. Raises NotFound, EnginesDisagree or StoreUnavailable."""
    found = episodes.table.find(organisation, reference)
    if found is None:
        raise unknown_episode()
    state = found.state
    parts, count = episodes.table.newest_parts(organisation, reference, MOST_PARTS)
    today = day_of(episodes.clock())
    calendar = calendars.get(state.calendar)
    flags = {} if calendar is None else episodes.flags(state, today, calendar)
    due = state.review_due_on
    return {
        "calendar": state.calendar,
        "closed_as": state.closed_as,
        "closed_on": _day(state.closed_on),
        "contacts": state.contacts,
        "events": state.events,
        "history": [_part(one, parts) for one in parts],
        "history_left_off": count - len(parts),
        "kept": _kept(state.kept),
        "kind": "episode",
        "limbs": {side: _limb(state.limbs[side]) for side in SIDES if side in state.limbs},
        "opened_on": state.opened_on.isoformat(),
        "pathway": {"digest": episodes.pathway.digest, "version": episodes.pathway.version},
        "reference": reference,
        "review_due_on": _day(due),
        "today": today.isoformat(),
        "watch": watch_record(flags),
    }


def _limb(leg: LimbState) -> dict[str, Any]:
    return {
        "arrangements": [
            {
                "asked_on": one.asked_on.isoformat(),
                "due_on": one.due_on.isoformat(),
                "settled_by": one.settled_by,
                "settled_on": _day(one.settled_on),
                "what": what,
            }
            for what, one in sorted(leg.arrangements.items())
        ],
        "compression_started_on": _day(leg.started_on),
        "current_tier": leg.tier,
        "current_tier_since": _day(leg.tier_since),
        "disposition": leg.disposition,
        "first_contact_on": leg.first_contact_on.isoformat(),
        "kept": _kept(leg.kept),
        "last_contact_on": leg.last_contact_on.isoformat(),
        "last_girth_series_cm": _given(leg.last_girths),
        "last_wound_area_cm2": _given(leg.last_area),
        "limits": [{"rule": one.rule, "tier": one.tier, "until": one.until} for one in leg.limits],
        "missed_reviews": leg.missed_reviews,
        "progress": _given(leg.progress),
        "review_due_on": _day(leg.review_due_on),
        "start_girth_series_cm": _given(leg.start_girths),
        "start_wound_area_cm2": _given(leg.start_area),
        "support_decisions": leg.support_decisions,
        "tier_drops": leg.tier_drops,
        "unsettled_on": _day(leg.unsettled_on),
    }


def _part(one: FoundPart, parts: list[FoundPart]) -> dict[str, Any]:
    part: Part = one.part
    corrected_by = next((other.part.id for other in parts if other.part.corrects == part.id), None)
    found: dict[str, Any] = {
        "at": part.at.isoformat(),
        "corrected_by": corrected_by,
        "corrects": part.corrects,
        "entry": part.id,
        "kind": "contact" if isinstance(part, Contact) else part.kind,
        "on": part.on.isoformat(),
    }
    if isinstance(part, EpisodeEvent):
        return {**found, "limb": part.limb, "limbs": {}}
    limbs = {
        side: {
            "disposition": limb.disposition,
            "on_arrival": limb.on_arrival,
            "review_due_on": limb.review_due_on.isoformat(),
            "tier": limb.tier,
        }
        for side, limb in sorted(part.limbs.items())
    }
    return {**found, "limb": None, "limbs": limbs}


def _kept(kept: Mapping[str, Given]) -> list[dict[str, Any]]:
    return [{"input": name, **(_given(one) or {})} for name, one in sorted(kept.items())]


def _given(given: Given | None) -> dict[str, Any] | None:
    if given is None:
        return None
    return {"entry": given.entry, "on": given.on.isoformat(), "value": given.value}


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
