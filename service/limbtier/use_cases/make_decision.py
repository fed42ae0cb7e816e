"""Makes a decision that is kept: decided, in the log, and only then given. Every interface goes this way."""

from __future__ import annotations

import asyncio

from limbtier.audit.log import Log
from limbtier.domain.caller import Caller
from limbtier.domain.entry import Entry, Retry
from limbtier.store.entries import RetryKeyTaken, StoredEntry
from limbtier.store.episodes import EpisodeMoved
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.episode_turns import MOST_TRIES, EpisodeTurns, reference_in
from limbtier.use_cases.follow_up import FollowUps
from limbtier.use_cases.retries import RequestsInProgress, answered_before, retry_of


class DecisionMaker:
    """Decides for callers, and lets each send a request again safely. One for an application, so that the
    same key means the same request whichever way it comes."""

    def __init__(self, decider: Decider, log: Log, follow_ups: FollowUps) -> None:
        self._decider = decider
        self._log = log
        self.follow_ups = follow_ups
        self.in_progress = RequestsInProgress()
        self.turns = EpisodeTurns()

    async def make(self, body: bytes, caller: Caller, key: str | None) -> tuple[str, bytes]:
        """The id and the record of the decision about an assessment, which is in the log. With a `key` that
        this caller used before, the decision that was given then.

        Raises NotJson, InvalidAssessment, EnginesDisagree, GuardRailBroken, StoreUnavailable,
        RequestInProgress or RetryKeyReused.
        """
        if key is None:
            entry = await self._kept(body, caller, None)
            return entry.id, entry.data
        retry = retry_of(caller, key, body)
        with self.in_progress.claimed(retry):
            before = await self._answered_before(retry)
            if before is None:
                try:
                    entry = await self._kept(body, caller, retry)
                except RetryKeyTaken:  # by another worker, meanwhile
                    before = await self._answered_before(retry)
                    if before is None:
                        raise
                else:
                    return entry.id, entry.data
            return before.id, before.data

    async def make_once(self, body: bytes, caller: Caller, use: Retry | None) -> Entry:
        """A decision, in the log, that uses up what is good for one alone. Raises RetryKeyTaken when that was
        used before; else as `make`."""
        return await self._kept(body, caller, use)

    async def preview(self, body: bytes, caller: Caller) -> bytes:
        """The same answer, completed alike, and stored nowhere. Raises as `make`."""
        follow_ups = self.follow_ups
        if not follow_ups.concerns(body):
            return self._decider.preview(body)
        loop = asyncio.get_running_loop()
        known = await loop.run_in_executor(None, follow_ups.known, body, caller.organisation)
        return self._decider.preview(body) if known is None else follow_ups.preview(body, known)

    async def _answered_before(self, retry: Retry) -> StoredEntry | None:
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(None, answered_before, self._log.store, retry)

    async def _kept(self, body: bytes, caller: Caller, retry: Retry | None) -> Entry:
        """The decision, in the log. One that is about an episode is decided again when the episode has got
        another part since it was read: two decisions never follow the same history."""
        if not self.follow_ups.concerns(body):
            entry = self._decider.entry(body, caller, retry)
            await self._log.append_soon(entry)
            return entry
        loop = asyncio.get_running_loop()
        async with self.turns.turn(caller.organisation, reference_in(body)):
            for left in reversed(range(MOST_TRIES)):
                known = await loop.run_in_executor(None, self.follow_ups.known, body, caller.organisation)
                if known is None:
                    entry = self._decider.entry(body, caller, retry)
                else:
                    entry = self.follow_ups.entry(body, caller, retry, known)
                try:
                    await self._log.append_soon(entry)
                except EpisodeMoved:
                    if not left:
                        raise
                else:
                    return entry
        raise AssertionError("the last try returns or raises")
