"""Decides a stored decision again, by the edition that made it, and compares every field."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import orjson

from limbtier.domain.caller import Caller
from limbtier.domain.entry import Entry
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.diagnostics import pointer
from limbtier.foundation.errors import EnginesDisagree, GuardRailBroken, InvalidAssessment
from limbtier.measures.working_days import CalendarRangeError
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.stored_decision import open_decision

MOST_DIFFERENCES: Final = 200
# What decided is told beside the comparison, not compared: a later service must come to the same decision.
NOT_COMPARED: Final = ("engine",)
_ABSENT: Final = "absent"


@dataclass(frozen=True, slots=True)
class Difference:
    """One field that came out differently. `stored` and `now` are JSON texts, or `absent`."""

    pointer: str
    stored: str
    now: str


@dataclass(frozen=True, slots=True)
class Replay:
    """The outcome of deciding again. `failure` says why no decision came out, where none did."""

    decision: str
    edition: str
    differences: tuple[Difference, ...]
    more_differences: int
    failure: str | None
    stored_engine: dict[str, Any]
    engine: dict[str, Any] | None

    @property
    def same(self) -> bool:
        """Whether every field came out as it was stored."""
        return not self.differences and self.failure is None


def replay(data: bytes, rules: ReadyRules) -> Replay:
    """Decide the stored decision again. Raises EditionUnavailable."""
    stored = open_decision(data, rules)
    failure: str | None = None
    engine: dict[str, Any] | None = None
    found: list[Difference] = []
    try:
        again = orjson.loads(stored.written(stored.decide(stored.assessment())))
    except (InvalidAssessment, CalendarRangeError, EnginesDisagree, GuardRailBroken) as error:
        failure = f"{error.code}: {'; '.join(item.message for item in error.diagnostics)}"
    else:
        engine = again["engine"]
        # An edition that was retired since is the same edition: its digest was compared.
        again["edition"]["status"] = stored.record["edition"]["status"]
        kept = {name: value for name, value in stored.record.items() if name not in NOT_COMPARED}
        now = {name: value for name, value in again.items() if name not in NOT_COMPARED}
        found = list(differences(kept, now))
    return Replay(
        decision=stored.record["id"],
        edition=stored.prepared.edition.id,
        differences=tuple(found[:MOST_DIFFERENCES]),
        more_differences=max(0, len(found) - MOST_DIFFERENCES),
        failure=failure,
        stored_engine=stored.record["engine"],
        engine=engine,
    )


def differences(stored: Any, now: Any, steps: tuple[str | int, ...] = ()) -> Iterator[Difference]:
    """Every place at which two JSON values differ, outermost first."""
    if isinstance(stored, dict) and isinstance(now, dict):
        for name in sorted(stored.keys() | now.keys()):
            if name in stored and name in now:
                yield from differences(stored[name], now[name], (*steps, name))
            else:
                yield Difference(
                    pointer(*steps, name),
                    _text(stored[name]) if name in stored else _ABSENT,
                    _text(now[name]) if name in now else _ABSENT,
                )
    elif isinstance(stored, list) and isinstance(now, list) and len(stored) == len(now):
        for place, (one, two) in enumerate(zip(stored, now, strict=True)):
            yield from differences(one, two, (*steps, place))
    elif stored != now or isinstance(stored, bool) != isinstance(now, bool):
        yield Difference(pointer(*steps), _text(stored), _text(now))


def replay_record(outcome: Replay) -> dict[str, Any]:
    """The outcome as it is answered and logged."""
    return {
        "decision": outcome.decision,
        "differences": [
            {"now": item.now, "pointer": item.pointer, "stored": item.stored} for item in outcome.differences
        ],
        "edition": outcome.edition,
        "engine": outcome.engine,
        "failure": outcome.failure,
        "more_differences": outcome.more_differences,
        "same": outcome.same,
        "stored_engine": outcome.stored_engine,
    }


def replay_entry(outcome: Replay, caller: Caller, at: datetime, entry_id: str) -> Entry:
    """The entry of the log that says that a decision was made again, by whom, and what came out."""
    record = {
        **replay_record(outcome),
        "at": at.isoformat(),
        "caller": {"id": caller.id, "organisation": caller.organisation},
        "id": entry_id,
        "kind": "decision_replayed",
    }
    return Entry("decision_replayed", entry_id, caller.organisation, at, canonical(record))


def _text(value: Any) -> str:
    text = orjson.dumps(value).decode()
    return text if len(text) <= 2000 else text[:1997] + "..."
