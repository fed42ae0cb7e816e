"""Commits entries that many callers append at once together: one wait for the disk serves them all.

What coroutines append in one turn of their event loop is committed at the end of that turn, on the loop
itself: to the thread and back costs a caller who is alone some 150 us, and under load a seventh of the
processor. What would have to wait for another writer, or for a disk that was slow just now, goes to the
thread, so that no other request stops for it.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable, Sequence
from queue import Empty, SimpleQueue
from typing import Final

from limbtier.domain.entry import Entry
from limbtier.foundation.errors import StoreUnavailable
from limbtier.store.entries import RetryKeyTaken
from limbtier.store.faults import Busy, Conflict, fault

MOST_TOGETHER: Final = 64
MOST_WAITING: Final = 512
PAUSE_SECONDS: Final = 1.0
SLOW_SECONDS: Final = 0.1
"""A commit on the event loop that took longer sends those of the next `SLOW_FOR_SECONDS` to the thread."""
SLOW_FOR_SECONDS: Final = 10.0

Commit = Callable[[Sequence[Entry]], list[int]]
Outcome = int | Exception
Place = tuple[asyncio.AbstractEventLoop, "asyncio.Future[int]"]


def settle(commit: Commit, batch: Sequence[Entry], at_once: Commit | None = None) -> list[Outcome]:
    """Commit a batch: for each entry its position, or its own error. What is wrong with one entry does not
    touch the others; a database that cannot be used fails all. `at_once` is tried first, for all together;
    raises Busy when it does."""
    try:
        return list((at_once or commit)(batch))
    except Busy:
        raise
    except (RetryKeyTaken, Conflict) as error:
        alone: Exception = error
    except StoreUnavailable as error:
        return [error] * len(batch)
    except Exception as error:  # noqa: BLE001 - whatever it is, it goes to the caller whose entry it is about
        alone = error
    if len(batch) == 1:
        return [alone]
    return [outcome for entry in batch for outcome in settle(commit, [entry])]


class GroupCommit:
    """A thread that commits what has queued, whole batches at a time; a caller waits for its own entry only.

    When the queue is full, the next caller is refused at once instead of waiting. `close` commits what has
    queued before it returns. `between` is called by the thread after each batch, and in pauses. `at_once` is
    `commit` without waiting for other writers: it raises Busy instead.
    """

    def __init__(
        self,
        commit: Commit,
        at_once: Commit | None = None,
        most_waiting: int = MOST_WAITING,
        most_together: int = MOST_TOGETHER,
        between: Callable[[], None] = lambda: None,
    ) -> None:
        self._commit = commit
        self._at_once = at_once
        self._turns: dict[asyncio.AbstractEventLoop, list[tuple[Entry, asyncio.Future[int]]]] = {}
        self._slow_until = 0.0
        self._between = between
        self._most_waiting = most_waiting
        self._most_together = most_together
        self._queue: SimpleQueue[tuple[Entry, Callable[[Outcome], None] | Place] | None] = SimpleQueue()
        self._closed = False
        self._thread = threading.Thread(target=self._run, name="limbtier-log", daemon=True)
        self._thread.start()

    def append(self, entry: Entry) -> int:
        """Append an entry and wait until it is on the disk; its position. Raises RetryKeyTaken or
        StoreUnavailable."""
        done = threading.Event()
        outcomes: list[Outcome] = []

        def settled(outcome: Outcome) -> None:
            outcomes.append(outcome)
            done.set()

        self._put(entry, settled)
        done.wait()
        if isinstance(outcomes[0], int):
            return outcomes[0]
        raise outcomes[0]

    def append_soon(self, entry: Entry) -> asyncio.Future[int]:
        """The same for a coroutine, on its event loop."""
        loop = asyncio.get_running_loop()
        future: asyncio.Future[int] = loop.create_future()
        if self._at_once is None:
            self._put(entry, (loop, future))
            return future
        turn = self._turns.get(loop)
        self._require_room(0 if turn is None else len(turn))
        if turn is None:
            turn = self._turns[loop] = []
            loop.call_soon(self._end_turn, loop)
        turn.append((entry, future))
        return future

    def close(self) -> None:
        """Commit what has queued, and end."""
        self._closed = True
        for loop in list(self._turns):
            self._queue_turn(loop, self._turns.pop(loop, []))
        self._queue.put(None)
        self._thread.join()

    def _put(self, entry: Entry, waiting: Callable[[Outcome], None] | Place) -> None:
        self._require_room()
        self._queue.put((entry, waiting))

    def _require_room(self, also: int = 0) -> None:
        if self._closed:
            raise fault("The service is being stopped.")
        if self._queue.qsize() + also >= self._most_waiting:
            raise fault("Too many entries wait for the disk.", "Try again in a moment.")

    def _end_turn(self, loop: asyncio.AbstractEventLoop) -> None:
        turn = self._turns.pop(loop, [])
        begun = time.monotonic()
        fits = 0 < len(turn) <= self._most_together
        if not fits or begun < self._slow_until or not self._queue.empty():
            self._queue_turn(loop, turn)
            return
        try:
            outcomes = settle(self._commit, [entry for entry, _ in turn], self._at_once)
        except Busy:
            self._queue_turn(loop, turn)
            return
        ended = time.monotonic()
        if ended - begun > SLOW_SECONDS:
            self._slow_until = ended + SLOW_FOR_SECONDS
        _resolve([(future, outcome) for (_, future), outcome in zip(turn, outcomes, strict=True)])

    def _queue_turn(
        self, loop: asyncio.AbstractEventLoop, turn: Sequence[tuple[Entry, asyncio.Future[int]]]
    ) -> None:
        for entry, future in turn:
            self._queue.put((entry, (loop, future)))

    def _run(self) -> None:
        ended = False
        while not ended:
            try:
                taken = [self._queue.get(timeout=PAUSE_SECONDS)]
            except Empty:
                self._between()
                continue
            while len(taken) < self._most_together:
                try:
                    taken.append(self._queue.get_nowait())
                except Empty:
                    break
            ended = None in taken
            batch = [one for one in taken if one is not None]
            if not batch:
                continue
            by_loop: dict[asyncio.AbstractEventLoop, list[tuple[asyncio.Future[int], Outcome]]] = {}
            outcomes = settle(self._commit, [entry for entry, _ in batch])
            for (_, waiting), outcome in zip(batch, outcomes, strict=True):
                if isinstance(waiting, tuple):
                    by_loop.setdefault(waiting[0], []).append((waiting[1], outcome))
                else:
                    waiting(outcome)
            for loop, resolved in by_loop.items():
                if not loop.is_closed():
                    loop.call_soon_threadsafe(_resolve, resolved)
            self._between()


def _resolve(resolved: Sequence[tuple[asyncio.Future[int], Outcome]]) -> None:
    for future, outcome in resolved:
        if future.done():  # the caller has gone; its entry stands in the log all the same
            continue
        if isinstance(outcome, int):
            future.set_result(outcome)
        else:
            future.set_exception(outcome)
