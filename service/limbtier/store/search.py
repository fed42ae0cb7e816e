"""Finds decisions by what they are about, newest first.

An index for every property would make each append write as many pages again. Instead it is noted once for a
block of 1,024 positions that an organisation has a decision with a property in it; a search then reads only
the blocks that have all properties wanted. A new property of a block costs one small row, a repeated one
nothing. What must hold for one and the same leg is noted together: its tier and disposition (`leg`), and each
rule with them (`rule`). Episodes are many and each has few decisions, so they have an index of their own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import Final

from sqlalchemy import ColumnElement, exists, func, select

from limbtier.domain.entry import DecidedLimb, DecisionFilter, DecisionIndex, FoundDecision
from limbtier.store.database import Database, Row
from limbtier.store.faults import misfiled
from limbtier.store.tables import decided_limbs, decision_blocks, decisions, microseconds, moment_of

BLOCK_BITS: Final = 10
_LAST_POSITION: Final = 2**63 - 1


def decision_row(entry_id: str, organisation: str, decision: DecisionIndex, position: int) -> Row:
    """The row of `decisions` for a decision at a position."""
    decided_at = microseconds(decision.decided_at)
    return position, entry_id, organisation, decision.edition, decision.episode, decided_at


def limb_rows(decision: DecisionIndex, position: int) -> list[Row]:
    """The rows of `decided_limbs` for a decision at a position."""
    return [
        (position, limb.side, limb.tier, limb.disposition, f" {' '.join(limb.rules)} ")
        for limb in decision.limbs
    ]


def property_rows(organisation: str, decision: DecisionIndex, position: int) -> Iterator[Row]:
    """The rows of `decision_blocks` that a decision at a position needs."""
    block = position >> BLOCK_BITS
    yield organisation, "edition", decision.edition, "", "", block
    yield organisation, "day", _day(decision.decided_at), "", "", block
    for limb in decision.limbs:
        tier, disposition = limb.tier, limb.disposition
        yield organisation, "leg", "", tier, disposition, block
        for rule in limb.rules:
            yield organisation, "rule", rule, tier, disposition, block


def find_decisions(
    database: Database, wanted: DecisionFilter, before: int | None, limit: int
) -> list[FoundDecision]:
    """Decisions that fit, the newest position first, only those at positions lower than `before`.

    Appending meanwhile changes nothing below `before`. Raises StoreUnavailable.
    """
    end = _LAST_POSITION if before is None else before
    found: list[Row] = []
    for start, stop in _ranges(database, wanted, end):
        found += database.select(
            select(decisions)
            .where(decisions.c.position >= start, decisions.c.position < stop, *_conditions(database, wanted))
            .order_by(decisions.c.position.desc())
            .limit(limit - len(found))
        )
        if len(found) >= limit:
            break
    return _with_limbs(database, found)


def _ranges(database: Database, wanted: DecisionFilter, end: int) -> Iterator[tuple[int, int]]:
    """Ranges of positions below `end` that hold all that is wanted, the newest first."""
    noted = _noted_properties(wanted)
    if wanted.episode is not None or not noted:
        yield 0, end
        return
    of_organisation = decision_blocks.c.organisation == wanted.organisation
    blocks: set[int] | None = None
    for condition in noted:
        within = decision_blocks.c.block <= (end - 1) >> BLOCK_BITS
        rows = database.select(select(decision_blocks.c.block).where(of_organisation, condition, within))
        found = {row[0] for row in rows}
        blocks = found if blocks is None else blocks & found
        if not blocks:
            return
    for block in sorted(blocks or (), reverse=True):
        yield block << BLOCK_BITS, min((block + 1) << BLOCK_BITS, end)


def _noted_properties(wanted: DecisionFilter) -> list[ColumnElement[bool]]:
    """The rows of `decision_blocks` to look for, a condition for each property wanted."""
    noted: list[ColumnElement[bool]] = []
    column = decision_blocks.c
    if wanted.edition is not None:
        noted.append((column.property == "edition") & (column.value == wanted.edition))
    if wanted.decided_from is not None or wanted.decided_before is not None:
        days: ColumnElement[bool] = column.property == "day"
        if wanted.decided_from is not None:
            days &= column.value >= _day(wanted.decided_from)
        if wanted.decided_before is not None:
            days &= column.value <= _day(wanted.decided_before)
        noted.append(days)
    if wanted.tier is not None or wanted.disposition is not None or wanted.rule is not None:
        leg: ColumnElement[bool] = column.property == ("leg" if wanted.rule is None else "rule")
        leg &= column.value == (wanted.rule or "")
        if wanted.tier is not None:
            leg &= column.tier == wanted.tier
        if wanted.disposition is not None:
            leg &= column.disposition == wanted.disposition
        noted.append(leg)
    return noted


def _conditions(database: Database, wanted: DecisionFilter) -> list[ColumnElement[bool]]:
    found = [decisions.c.organisation == wanted.organisation]
    if wanted.episode is not None:
        found.append(decisions.c.episode == wanted.episode)
    if wanted.edition is not None:
        found.append(decisions.c.edition == wanted.edition)
    if wanted.decided_from is not None:
        found.append(decisions.c.decided_at >= microseconds(wanted.decided_from))
    if wanted.decided_before is not None:
        found.append(decisions.c.decided_at < microseconds(wanted.decided_before))
    limb = []
    if wanted.tier is not None:
        limb.append(decided_limbs.c.tier == wanted.tier)
    if wanted.disposition is not None:
        limb.append(decided_limbs.c.disposition == wanted.disposition)
    if wanted.rule is not None:
        place = func.instr if database.is_sqlite else func.strpos
        limb.append(place(decided_limbs.c.rules, f" {wanted.rule} ") > 0)
    if limb:
        found.append(exists().where(decided_limbs.c.position == decisions.c.position, *limb))
    return found


def _with_limbs(database: Database, found: Sequence[Row]) -> list[FoundDecision]:
    limbs: dict[int, list[DecidedLimb]] = {row[0]: [] for row in found}
    if limbs:
        of_limb = decided_limbs.c
        for position, side, tier, disposition, rules in database.select(
            select(decided_limbs).where(of_limb.position.in_(limbs)).order_by(of_limb.position, of_limb.side)
        ):
            limbs[position].append(DecidedLimb(side, tier, disposition, tuple(str(rules).split())))
    try:
        return [
            FoundDecision(position, id_, edition, episode, moment_of(decided_at), tuple(limbs[position]))
            for position, id_, _organisation, edition, episode, decided_at in found
        ]
    except (TypeError, OverflowError):
        raise misfiled("A decision is kept under a moment that is none.") from None


def _day(moment: datetime) -> str:
    return moment.astimezone(UTC).date().isoformat()
