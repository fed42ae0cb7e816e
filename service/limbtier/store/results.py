"""Results of long work on editions, kept so that every worker of the service can answer with them.

They can be worked out again from editions and log at any time: nothing of them is proved, and old ones go.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import bindparam, delete, select, update

from limbtier.domain.governance_result import GovernanceResult, WorkState
from limbtier.store.database import Database, Row
from limbtier.store.faults import Conflict
from limbtier.store.packing import packed, unpacked
from limbtier.store.tables import governance_results, microseconds, moment_of

KEPT_FOR: Final = timedelta(days=30)


class ResultTable:
    """Results by key. Every method raises StoreUnavailable."""

    def __init__(self, database: Database) -> None:
        self._database = database
        columns = governance_results.c
        which = columns.key == bindparam("which")
        self._find = database.text(select(governance_results).where(which))
        self._delete = database.text(delete(governance_results).where(which))
        self._delete_old = database.text(
            delete(governance_results).where(columns.seen_at < bindparam("before"))
        )
        self._tell = database.text(
            update(governance_results)
            .values(counted=bindparam("so_far"), total=bindparam("of"), seen_at=bindparam("at"))
            .where(which, columns.state == bindparam("running"))
        )

    def find(self, key: str) -> GovernanceResult | None:
        """The work with a key, or None."""
        rows = self._database.rows(self._find, key)
        return _result(rows[0]) if rows else None

    def begin(
        self, key: str, kind: str, organisation: str | None, at: datetime, lost_before: datetime
    ) -> bool:
        """Take work on. False when somebody has done it, or gave a sign of doing it since `lost_before`."""
        try:
            with self._database.writing() as cursor:
                cursor.execute(self._delete_old, (microseconds(at - KEPT_FOR),))
                cursor.execute(self._find, (key,))
                row = cursor.fetchone()
                if row is not None:
                    found = _result(tuple(row))
                    if found.state in ("done", "refused") or found.seen_at >= lost_before:
                        return False
                    cursor.execute(self._delete, (key,))
                fresh = (key, kind, organisation, "running", 0, None, None, microseconds(at))
                self._database.insert(cursor, governance_results, [fresh])
        except Conflict:  # another worker was first
            return False
        return True

    def tell(self, key: str, counted: int, total: int | None, at: datetime) -> None:
        """Keep how far work has come, which is also a sign that it goes on."""
        with self._database.writing() as cursor:
            cursor.execute(self._tell, (counted, total, microseconds(at), key, "running"))

    def end(self, result: GovernanceResult) -> None:
        """Keep how work ended."""
        outcome = None if result.outcome is None else packed(result.outcome)
        row = (
            result.key,
            result.kind,
            result.organisation,
            result.state,
            result.counted,
            result.total,
            outcome,
            microseconds(result.seen_at),
        )
        with self._database.writing() as cursor:
            cursor.execute(self._delete, (result.key,))
            self._database.insert(cursor, governance_results, [row])


def _result(row: Row) -> GovernanceResult:
    key, kind, organisation, state, counted, total, kept, seen_at = row
    outcome = None if kept is None else unpacked(bytes(kept))
    lost = kept is not None and outcome is None  # damaged: it is worked out again
    checked: WorkState = "failed" if lost else state
    return GovernanceResult(key, kind, organisation, checked, counted, total, outcome, moment_of(seen_at))
