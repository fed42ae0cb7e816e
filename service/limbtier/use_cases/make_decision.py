"""Makes a decision that is kept: decided, in the log, and only then given. Every interface goes this way."""

from __future__ import annotations

import asyncio

from limbtier.audit.log import Log
from limbtier.domain.caller import Caller
from limbtier.domain.entry import Entry, Retry
from limbtier.store.entries import RetryKeyTaken
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.retries import RequestsInProgress, answered_before, retry_of


class DecisionMaker:
    """Decides for callers, and lets each send a request again safely. One for an application, so that the
    same key means the same request whichever way it comes."""

    def __init__(self, decider: Decider, log: Log) -> None:
        self._decider = decider
        self._log = log
        self._in_progress = RequestsInProgress()

    async def make_once(self, body: bytes, caller: Caller, use: Retry | None) -> Entry:
        """A decision, in the log, that uses up what is good for one alone. Raises RetryKeyTaken when that was
        used before; else as `make`."""
        entry = self._decider.entry(body, caller, use)
        await self._log.append_soon(entry)
        return entry

    async def preview(self, body: bytes, caller: Caller) -> bytes:  # noqa: ARG002 - as for `make`
        """The same answer, stored nowhere. Raises as `make`, but for those of the log."""
        return self._decider.preview(body)

    async def make(self, body: bytes, caller: Caller, key: str | None) -> tuple[str, bytes]:
        """The id and the record of the decision about an assessment, which is in the log. With a `key` that
        this caller used before, the decision that was given then.

        Raises NotJson, InvalidAssessment, EnginesDisagree, GuardRailBroken, StoreUnavailable,
        RequestInProgress or RetryKeyReused.
        """
        log = self._log
        if key is None:
            entry = self._decider.entry(body, caller)
            await log.append_soon(entry)
            return entry.id, entry.data
        retry = retry_of(caller, key, body)
        with self._in_progress.claimed(retry):
            loop = asyncio.get_running_loop()
            before = await loop.run_in_executor(None, answered_before, log.store, retry)
            if before is None:
                entry = self._decider.entry(body, caller, retry)
                try:
                    await log.append_soon(entry)
                except RetryKeyTaken:  # by another worker, meanwhile
                    before = await loop.run_in_executor(None, answered_before, log.store, retry)
                    if before is None:
                        raise
                else:
                    return entry.id, entry.data
            return before.id, before.data
