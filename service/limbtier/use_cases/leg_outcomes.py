"""What was decided of each leg, from a decision record or by an edition now, ready to be compared."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import orjson

from limbtier.domain.assessment import SIDES, Assessment
from limbtier.domain.rule import Conclusions
from limbtier.engine.decide import decide_limb
from limbtier.engine.episode_completion import Recorded
from limbtier.engine.interpreter import APPLIES
from limbtier.engine.outcome import outcome_of_limb
from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.impact import Counted, LegOutcome, LegReasons
from limbtier.measures.working_days import WorkingCalendar
from limbtier.use_cases.recorded_completion import recorded
from limbtier.use_cases.trace_record import STATES


class NoDecisionRecord(Exception):
    """Something that should be a decision record is none; the text says what is wrong with it."""


@dataclass(frozen=True, slots=True)
class Outcomes:
    """What one edition says of every leg. `reasons` of a leg are worked out only where it differs: they need
    more of the record, or a decision in full, which may turn out to be refused."""

    edition: str
    legs: Mapping[str, LegOutcome]
    reasons: Callable[[str], LegReasons]


def outcomes_by(prepared: PreparedEdition, assessment: Assessment, calendar: WorkingCalendar) -> Outcomes:
    """By an edition now. Raises CalendarRangeError; the reasons raise as `decide_limb`."""
    legs: dict[str, LegOutcome] = {}
    for side in assessment.limbs:
        found = outcome_of_limb(prepared, side, assessment, calendar)
        legs[side] = LegOutcome(
            found.disposition, found.tier, found.target_tier, found.review_due_on.isoformat()
        )

    def in_full(wanted: str) -> LegReasons:
        side = next(one for one in assessment.limbs if one == wanted)
        limb = decide_limb(prepared, side, assessment, calendar)
        due_on = limb.review.due_on.isoformat()
        if legs[side] != LegOutcome(limb.disposition, limb.tier, limb.target_tier, due_on):
            raise AssertionError(f"the {side} leg was decided in two ways by {prepared.edition.id}")
        rules = zip(prepared.edition.rules, limb.trace.rules, strict=True)
        counted = (_counted(rule.id, rule.then, state == APPLIES) for rule, state in rules if state)
        return LegReasons(frozenset(one for some in counted for one in some), frozenset(limb.review.set_by))

    return Outcomes(prepared.edition.id, legs, in_full)


def _counted(rule: str, then: Conclusions, applies: bool) -> Iterable[Counted]:
    if then.limit is not None:
        yield Counted(rule, False, then.limit.tier, applies, then.limit.until)
    if then.propose is not None:
        yield Counted(rule, True, then.propose, applies, None)


class StoredDecision(NamedTuple):
    """What is needed of a decision record: its id if it has one, the request as it came, the outcomes, and
    what was filled in from its episode, if it has one."""

    id: str | None
    received: bytes
    outcomes: Outcomes
    completing: Recorded | None


def read_record(data: bytes) -> StoredDecision | None:
    """The record that the bytes are; None when they are no record at all. Raises NoDecisionRecord."""
    quick = _read_quickly(data)
    if quick is not None:
        return quick
    try:
        record = orjson.loads(data)
    except orjson.JSONDecodeError:
        return None
    if not isinstance(record, dict) or not isinstance(record.get("received"), str):
        return None
    try:
        edition, limbs, record_id = record["edition"]["id"], record["limbs"], record.get("id")
        legs: dict[str, LegOutcome] = {
            side: LegOutcome(
                limbs[side]["disposition"],
                limbs[side]["tier"],
                limbs[side]["target_tier"],
                limbs[side]["review"]["due_on"],
            )
            for side in SIDES
            if side in limbs
        }
        completing = recorded(record)
    except (KeyError, TypeError) as error:
        raise NoDecisionRecord(f"It lacks {error}.") from None
    return StoredDecision(
        record_id if isinstance(record_id, str) else None,
        record["received"].encode(),
        Outcomes(edition, legs, lambda side: _reasons_of(limbs[side])),
        completing,
    )


# A record is canonical JSON: its members stand in one order with nothing between them, and a quotation mark
# inside a text is escaped, so that none of these can be met there. Finding only them takes a tenth of the
# time that reading the whole record takes.
_EDITION: Final = (b'"edition":{"digest":"', b'","guard_rails":"', b'","id":"')
_ID: Final = b',"id":'
_NO_EPISODE: Final = b'},"episode":null,"id":'
_NAMED: Final = re.compile(
    rb'(?:null|"([^"\\]+)"),"kind":"[a-z]+","limbs":\{"(left|right)":\{"arrangements":\['
)
_RIGHT: Final = b',"right":{"arrangements":['
_LEG: Final = tuple(
    (mark, re.compile(rest))
    for mark, rest in (
        (b'"determined":', rb'(?:true|false),"disposition":"([a-z_]+)","limits":\['),
        (b'"review":{"calendar":"', rb'[a-z_]+","due_on":"([0-9-]{10})","note":(?:null|"[^"\\]*"),"set_by":'),
        (b'"target_tier":"', rb'([a-z_]+)","tier":"([a-z_]+)","trace":\{'),
    )
)
_REASONS: Final = b',"reasons":['
_SET_BY: Final = b',"set_by":['
_RECEIVED: Final = b',"received":"'
_WARNINGS: Final = b'","warnings":['


def _read_quickly(data: bytes) -> StoredDecision | None:
    """What is needed, found without reading the rest; None where the record is written in another way."""
    place = 0
    for mark in _EDITION:
        place = data.find(mark, place) + len(mark)
        if place < len(mark):
            return None
    edition = data[place : data.find(b'"', place)].decode()
    place = data.find(_ID, place)
    named = _NAMED.match(data, place + len(_ID))
    start, end = data.rfind(_RECEIVED), data.rfind(_WARNINGS)
    if place < 0 or named is None or not 0 < start < end:
        return None
    sides = [named[2].decode()]
    if data.find(_RIGHT, named.end()) >= 0:
        sides.append("right")
    legs: dict[str, LegOutcome] = {}
    reasons: dict[str, bytes] = {}
    place = named.end()
    for side in sides:
        found: list[str] = []
        first = place
        for mark, rest in _LEG:
            place = data.find(mark, place)
            matched = rest.match(data, place + len(mark))
            if place < 0 or matched is None:
                return None
            found += [part.decode() for part in matched.groups()]
            place = matched.end()
        disposition, due_on, target, tier = found
        legs[side] = LegOutcome(disposition, tier, target, due_on)
        # From the reasons up to the review, which stand side by side.
        start_of_reasons = data.find(_REASONS, first)
        end_of_review = data.find(b"}", data.find(_SET_BY, start_of_reasons)) + 1
        if not first < start_of_reasons < end_of_review:
            return None
        reasons[side] = b"{" + data[start_of_reasons + 1 : end_of_review] + b"}"
    try:
        received = orjson.loads(data[start + len(_RECEIVED) - 1 : end + 1])
    except orjson.JSONDecodeError:
        return None
    outcomes = Outcomes(edition, legs, lambda side: _reasons_of(orjson.loads(reasons[side])))
    alone = data.find(_NO_EPISODE, 0, named.start()) >= 0
    completing = None if alone else recorded(orjson.loads(data))
    return StoredDecision(named[1].decode() if named[1] else None, received.encode(), outcomes, completing)


def _reasons_of(leg: Mapping[str, Any]) -> LegReasons:
    """The reasons in the record of a leg. Raises NoDecisionRecord."""
    counted: set[Counted] = set()
    try:
        for reason in leg["reasons"]:
            concludes, applies = reason["concludes"], reason["state"] == STATES[APPLIES]
            if "limit" in concludes:
                limit = concludes["limit"]
                counted.add(Counted(reason["rule"], False, limit["tier"], applies, limit["until"]))
            if "propose" in concludes:
                counted.add(Counted(reason["rule"], True, concludes["propose"], applies, None))
        return LegReasons(frozenset(counted), frozenset(leg["review"]["set_by"]))
    except (KeyError, TypeError) as error:
        raise NoDecisionRecord(f"It lacks {error}.") from None
