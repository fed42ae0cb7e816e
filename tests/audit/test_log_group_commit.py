"""Entries of many callers are committed together; each caller hears about its own entry only."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pytest

from limbtier.audit import group_commit
from limbtier.audit.group_commit import GroupCommit, settle
from limbtier.domain.entry import Entry
from limbtier.foundation.errors import StoreUnavailable
from limbtier.store.database import Cursor, Database
from limbtier.store.entries import EntryStore, RetryKeyTaken
from limbtier.store.faults import Busy, Conflict, fault
from limbtier.store.tables import retries
from tests.support.log_entries import decision_entry, other_entry


class Gate:
    """A commit that waits until it is let through, and notes its batches."""

    def __init__(self, commit: Callable[[Sequence[Entry]], list[int]]) -> None:
        self._commit = commit
        self.entered = threading.Event()
        self.let_through = threading.Event()
        self.batches: list[int] = []

    def __call__(self, batch: Sequence[Entry]) -> list[int]:
        self.batches.append(len(batch))
        self.entered.set()
        assert self.let_through.wait(20)
        return self._commit(batch)


def numbered() -> Callable[[Sequence[Entry]], list[int]]:
    taken = 0

    def commit(batch: Sequence[Entry]) -> list[int]:
        nonlocal taken
        taken += len(batch)
        return list(range(taken - len(batch), taken))

    return commit


def test_what_queues_behind_a_commit_is_committed_together() -> None:
    gate = Gate(numbered())
    writer = GroupCommit(gate)

    async def work() -> list[int]:
        first = writer.append_soon(other_entry())
        await asyncio.get_running_loop().run_in_executor(None, gate.entered.wait)
        others = [writer.append_soon(other_entry()) for _ in range(9)]
        gate.let_through.set()
        return [await one for one in (first, *others)]

    assert asyncio.run(work()) == list(range(10))
    assert gate.batches == [1, 9]
    writer.close()


def test_a_batch_has_an_upper_bound() -> None:
    gate = Gate(numbered())
    writer = GroupCommit(gate, most_together=4)

    async def work() -> list[int]:
        waiting = [writer.append_soon(other_entry()) for _ in range(10)]
        gate.let_through.set()
        return [await one for one in waiting]

    assert asyncio.run(work()) == list(range(10))
    assert max(gate.batches) <= 4
    writer.close()


def test_one_retry_key_that_was_used_fails_nobody_else(store: EntryStore) -> None:
    store.append([decision_entry(key="used")])
    batch = [decision_entry(key="a"), decision_entry(key="used"), other_entry(), decision_entry(key="a")]
    first, second, third, fourth = settle(store.append, batch)
    assert (first, third) == (1, 2)
    assert isinstance(second, RetryKeyTaken)
    assert isinstance(fourth, RetryKeyTaken)
    assert store.head().size == 3


def test_one_entry_that_cannot_be_kept_fails_nobody_else(store: EntryStore) -> None:
    known = other_entry()
    store.append([known])
    batch = [other_entry(), known, decision_entry(episode="\ud800"), other_entry()]
    first, second, third, fourth = settle(store.append, batch)
    assert (first, fourth) == (1, 2)
    assert isinstance(second, Conflict)
    assert isinstance(third, UnicodeEncodeError)
    assert store.head().size == 3


def test_one_change_that_fails_with_its_entry_fails_nobody_else(store: EntryStore) -> None:
    done: list[str] = []

    def fails(_cursor: Cursor, _position: int) -> None:
        raise ZeroDivisionError

    def conflicts(cursor: Cursor, _position: int) -> None:
        row = ("caller", "used", b"p" * 32, 0)
        store.database.insert(cursor, retries, [row, row])

    batch = [
        replace(other_entry(), also=lambda _cursor, position: done.append(f"first at {position}")),
        replace(other_entry(), also=fails),
        replace(other_entry(), also=conflicts),
        replace(other_entry(), also=lambda _cursor, position: done.append(f"last at {position}")),
    ]
    first, second, third, fourth = settle(store.append, batch)
    assert (first, fourth) == (0, 1)
    assert isinstance(second, ZeroDivisionError)
    assert isinstance(third, Conflict)
    assert store.head().size == 2
    assert done[-2:] == ["first at 0", "last at 1"]  # undone with the whole batch before


def test_a_database_that_fails_is_asked_once_for_a_batch() -> None:
    asked: list[int] = []

    def commit(batch: Sequence[Entry]) -> list[int]:
        asked.append(len(batch))
        raise fault("The disk is full.")

    outcomes = settle(commit, [other_entry() for _ in range(5)])
    assert asked == [5]
    assert all(isinstance(outcome, StoreUnavailable) for outcome in outcomes)


def test_a_full_queue_refuses_at_once() -> None:
    gate = Gate(numbered())
    writer = GroupCommit(gate, most_waiting=3)

    async def work() -> list[Any]:
        waiting = [writer.append_soon(other_entry())]
        await asyncio.get_running_loop().run_in_executor(None, gate.entered.wait)
        waiting += [writer.append_soon(other_entry()) for _ in range(3)]
        with pytest.raises(StoreUnavailable, match="Too many entries wait"):
            writer.append_soon(other_entry())
        gate.let_through.set()
        return [await one for one in waiting]

    assert asyncio.run(work()) == [0, 1, 2, 3]
    writer.close()


class AtOnce:
    """A commit for the end of a turn: counts what it is given, and says that it would have to wait where it
    is told to."""

    def __init__(self, commit: Callable[[Sequence[Entry]], list[int]], *, busy: bool = False) -> None:
        self._commit = commit
        self.busy = busy
        self.batches: list[int] = []
        self.threads: set[int] = set()

    def __call__(self, batch: Sequence[Entry]) -> list[int]:
        if self.busy:
            raise Busy
        self.batches.append(len(batch))
        self.threads.add(threading.get_ident())
        return self._commit(batch)


def never(_batch: Sequence[Entry]) -> list[int]:
    raise AssertionError("the thread had nothing to do")


def test_what_one_turn_of_the_loop_appends_is_committed_together_on_the_loop() -> None:
    at_once = AtOnce(numbered())
    writer = GroupCommit(never, at_once)

    async def work() -> list[int]:
        first = await asyncio.gather(*(writer.append_soon(other_entry()) for _ in range(5)))
        return [*first, await writer.append_soon(other_entry())]

    assert asyncio.run(work()) == list(range(6))
    assert at_once.batches == [5, 1]
    assert at_once.threads == {threading.get_ident()}
    writer.close()


def test_what_would_have_to_wait_for_another_writer_goes_to_the_thread() -> None:
    gate = Gate(numbered())
    at_once = AtOnce(never, busy=True)
    writer = GroupCommit(gate, at_once)

    async def work() -> list[int]:
        waiting = [writer.append_soon(other_entry()) for _ in range(3)]
        await asyncio.get_running_loop().run_in_executor(None, gate.entered.wait)  # the loop goes on
        gate.let_through.set()
        return [await one for one in waiting]

    assert asyncio.run(work()) == [0, 1, 2]
    assert sum(gate.batches) == 3
    writer.close()


def test_after_a_commit_that_was_slow_the_thread_waits_for_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(group_commit, "SLOW_SECONDS", -1.0)  # any time at all is longer
    gate = Gate(numbered())
    gate.let_through.set()
    at_once = AtOnce(numbered())
    writer = GroupCommit(gate, at_once)

    async def work() -> None:
        await writer.append_soon(other_entry())
        await writer.append_soon(other_entry())

    asyncio.run(work())
    assert (at_once.batches, gate.batches) == ([1], [1])
    writer.close()


def test_one_entry_of_a_turn_that_cannot_be_kept_fails_nobody_else(database: Database) -> None:
    store = EntryStore(database)
    known = other_entry()
    store.append([known])
    writer = GroupCommit(store.append, lambda batch: store.append(batch, wait=False))

    async def work() -> list[Any]:
        turn = [writer.append_soon(one) for one in (other_entry(), known, other_entry())]
        return await asyncio.gather(*turn, return_exceptions=True)

    first, second, third = asyncio.run(work())
    assert (first, third) == (1, 2)
    assert isinstance(second, Conflict)
    assert store.head().size == 3
    writer.close()


def test_a_turn_that_is_too_long_is_refused_and_one_longer_than_a_batch_goes_to_the_thread() -> None:
    gate = Gate(numbered())
    gate.let_through.set()
    at_once = AtOnce(never)
    writer = GroupCommit(gate, at_once, most_waiting=6, most_together=4)

    async def work() -> list[int]:
        waiting = [writer.append_soon(other_entry()) for _ in range(6)]
        with pytest.raises(StoreUnavailable, match="Too many entries wait"):
            writer.append_soon(other_entry())
        return [await one for one in waiting]

    assert asyncio.run(work()) == list(range(6))
    assert sum(gate.batches) == 6
    assert max(gate.batches) <= 4
    writer.close()


def test_closing_commits_the_turn_that_has_not_ended(store: EntryStore) -> None:
    at_once = AtOnce(never)
    writer = GroupCommit(store.append, at_once)

    async def work() -> list[int]:
        waiting = [writer.append_soon(other_entry()) for _ in range(3)]
        writer.close()
        with pytest.raises(StoreUnavailable, match="being stopped"):
            writer.append_soon(other_entry())
        return [await one for one in waiting]

    assert asyncio.run(work()) == [0, 1, 2]
    assert at_once.batches == []
    assert store.head().size == 3


def test_closing_commits_what_has_queued_and_takes_nothing_more(store: EntryStore) -> None:
    gate = Gate(store.append)
    writer = GroupCommit(gate)

    async def work() -> list[int]:
        waiting = [writer.append_soon(other_entry()) for _ in range(5)]
        gate.let_through.set()
        await asyncio.get_running_loop().run_in_executor(None, writer.close)
        return [await one for one in waiting]

    assert asyncio.run(work()) == list(range(5))
    with pytest.raises(StoreUnavailable, match="being stopped"):
        writer.append(other_entry())
    assert store.head().size == 5


def test_a_caller_that_has_gone_disturbs_nobody() -> None:
    gate = Gate(numbered())
    writer = GroupCommit(gate)

    async def work() -> int:
        gone = writer.append_soon(other_entry())
        stays = writer.append_soon(other_entry())
        gone.cancel()
        gate.let_through.set()
        return await stays

    assert asyncio.run(work()) == 1
    writer.close()


def test_threads_and_coroutines_share_one_writer(database: Database) -> None:
    store = EntryStore(database)
    writer = GroupCommit(store.append)
    positions: list[int] = []

    def blocking() -> None:
        positions.extend(writer.append(other_entry(number)) for number in range(20))

    async def waiting() -> None:
        positions.extend(await asyncio.gather(*(writer.append_soon(other_entry()) for _ in range(30))))

    threads = [threading.Thread(target=blocking) for _ in range(2)]
    for thread in threads:
        thread.start()
    asyncio.run(waiting())
    for thread in threads:
        thread.join()
    writer.close()
    assert sorted(positions) == list(range(70))
