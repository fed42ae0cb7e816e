"""Results of long work are kept once, by whoever began it, and begun again only when they are lost."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from limbtier.domain.governance_result import GovernanceResult
from limbtier.store.database import Database
from limbtier.store.results import KEPT_FOR, ResultTable

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
DONE = GovernanceResult("a" * 64, "proofs", None, "done", 3, 3, b'{"json": "[]"}', NOON)


@pytest.fixture
def results(database: Database) -> ResultTable:
    return ResultTable(database)


def begun(results: ResultTable, at: datetime) -> bool:
    return results.begin(DONE.key, DONE.kind, None, at, at - MINUTE)


def test_work_is_taken_on_once_while_it_gives_signs(results: ResultTable) -> None:
    assert results.find(DONE.key) is None
    assert begun(results, NOON)
    assert not begun(results, NOON + MINUTE / 2)
    results.tell(DONE.key, 2, 3, NOON + MINUTE)
    assert not begun(results, NOON + MINUTE * 1.5)
    found = results.find(DONE.key)
    assert found is not None
    assert (found.state, found.counted, found.total, found.outcome) == ("running", 2, 3, None)


def test_work_that_gave_no_sign_for_long_is_taken_on_by_another(results: ResultTable) -> None:
    assert begun(results, NOON)
    assert begun(results, NOON + MINUTE * 2)


def test_what_is_done_stays_and_is_not_told_over(results: ResultTable) -> None:
    assert begun(results, NOON)
    results.end(DONE)
    results.tell(DONE.key, 1, 3, NOON + MINUTE)
    assert not begun(results, NOON + timedelta(days=1))
    assert results.find(DONE.key) == DONE


@pytest.mark.parametrize(("state", "again"), [("refused", False), ("failed", True)])
def test_what_was_refused_stays_and_what_failed_is_begun_again(
    state: str, again: bool, results: ResultTable
) -> None:
    assert begun(results, NOON)
    results.end(replace(DONE, state=state, outcome=None))  # type: ignore[arg-type]
    assert begun(results, NOON + MINUTE * 2) is again


def test_what_is_old_goes_when_something_is_begun(results: ResultTable) -> None:
    results.end(DONE)
    assert results.begin("b" * 64, "checks", None, NOON + KEPT_FOR + MINUTE, NOON)
    assert results.find(DONE.key) is None


def test_what_cannot_be_unpacked_is_begun_again(results: ResultTable, database: Database) -> None:
    results.end(DONE)
    on_sqlite = "UPDATE governance_results SET outcome = X'01'"
    on_postgresql = "UPDATE governance_results SET outcome = '\\x01'"
    with database.writing() as cursor:
        cursor.execute(on_sqlite if database.is_sqlite else on_postgresql)
    found = results.find(DONE.key)
    assert found is not None
    assert (found.state, found.outcome) == ("failed", None)
    assert begun(results, NOON + MINUTE * 2)
