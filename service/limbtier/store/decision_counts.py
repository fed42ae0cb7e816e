"""How many legs were decided which way, counted on from a position of the log."""

from __future__ import annotations

from collections import Counter

from sqlalchemy import func, select

from limbtier.store.database import Database
from limbtier.store.tables import decided_limbs, decisions

Decided = tuple[str, str, str]
"""Edition, tier and disposition."""


class DecisionCounts:
    """Counts on with every call; the first reads all. Not for several threads at once."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._last = -1
        self._counts: Counter[Decided] = Counter()

    def now(self) -> Counter[Decided]:
        """Legs decided since the log began, of every organisation. Raises StoreUnavailable."""
        limb = decided_limbs.c
        rows = self._database.select(
            select(decisions.c.edition, limb.tier, limb.disposition, func.count(), func.max(limb.position))
            .join(decisions, decisions.c.position == limb.position)
            .where(limb.position > self._last)
            .group_by(decisions.c.edition, limb.tier, limb.disposition)
        )
        for edition, tier, disposition, count, last in rows:
            self._counts[edition, tier, disposition] += count
            self._last = max(self._last, last)
        return self._counts
