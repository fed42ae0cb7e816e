"""Parts and states of episodes as JSON text, as they are kept beside the log."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

import orjson

from limbtier.domain.episode_state import (
    Arranged,
    Arrangement,
    Contact,
    EpisodeEvent,
    EpisodeState,
    Given,
    Held,
    LimbContact,
    LimbState,
    Part,
    Stored,
)


def written(value: Part | EpisodeState) -> bytes:
    """The text of a part or a state."""
    return orjson.dumps(value, option=orjson.OPT_SORT_KEYS)


def read_part(text: bytes) -> Part:
    """The part that was written so."""
    plain = orjson.loads(text)
    plain["at"] = _moment(plain["at"])
    plain["on"] = _day(plain["on"])
    plain["person"] = _answers(plain["person"])
    if "kind" in plain:
        return EpisodeEvent(**{**plain, "limb_answers": _answers(plain["limb_answers"])})
    plain["limbs"] = {side: _limb_contact(limb) for side, limb in plain["limbs"].items()}
    return Contact(**plain)


def read_state(text: bytes) -> EpisodeState:
    """The state that was written so."""
    plain = orjson.loads(text)
    plain["opened_on"] = _day(plain["opened_on"])
    plain["last_at"] = _moment(plain["last_at"])
    plain["closed_on"] = _some_day(plain["closed_on"])
    plain["kept"] = {name: _given(one) for name, one in plain["kept"].items()}
    plain["limbs"] = {side: _limb_state(leg) for side, leg in plain["limbs"].items()}
    return EpisodeState(**plain)


def _limb_contact(plain: dict[str, Any]) -> LimbContact:
    plain["answers"] = _answers(plain["answers"])
    plain["review_due_on"] = _day(plain["review_due_on"])
    plain["limits"] = tuple(Held(**one) for one in plain["limits"])
    plain["arranged"] = tuple(Arranged(one["what"], _day(one["due_on"])) for one in plain["arranged"])
    return LimbContact(**plain)


_DAYS = ("review_due_on", "tier_since", "unsettled_on", "started_on", "support_on", "better_on")
_GIVEN = (
    "start_area",
    "start_girths",
    "last_area",
    "last_girths",
    "last_ankle",
    "last_calf",
    "wound",
    "progress",
)


def _limb_state(plain: dict[str, Any]) -> LimbState:
    for name in ("first_contact_on", "last_contact_on"):
        plain[name] = _day(plain[name])
    for name in _DAYS:
        plain[name] = _some_day(plain[name])
    for name in _GIVEN:
        if plain[name] is not None:
            plain[name] = _given(plain[name])
    plain["limits"] = tuple(Held(**one) for one in plain["limits"])
    plain["arrangements"] = {what: _arrangement(one) for what, one in plain["arrangements"].items()}
    plain["kept"] = {name: _given(one) for name, one in plain["kept"].items()}
    return LimbState(**plain)


def _arrangement(plain: dict[str, Any]) -> Arrangement:
    for name in ("asked_on", "due_on"):
        plain[name] = _day(plain[name])
    plain["settled_on"] = _some_day(plain["settled_on"])
    return Arrangement(**plain)


def _given(plain: Mapping[str, Any]) -> Given:
    return Given(_value(plain["value"]), _day(plain["on"]), plain["entry"])


def _answers(plain: Mapping[str, Any]) -> dict[str, Stored]:
    return {name: _value(value) for name, value in plain.items()}


def _value(plain: str | list[str]) -> Stored:
    return plain if isinstance(plain, str) else tuple(plain)


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def _day(text: str) -> date:
    return date.fromisoformat(text)


def _some_day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
