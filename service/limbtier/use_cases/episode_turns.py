"""Lets requests about one episode take turns in this process.

What keeps two decisions from following the same history is the store; this spares them from deciding in vain.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Final

MOST_TRIES: Final = 20
"""How often a request about an episode is worked out anew while other processes change the episode."""

_NAMED: Final = re.compile(rb'"episode"\s*:\s*"([^"\\]*)"')


class EpisodeTurns:
    """One turn at a time for each episode. Used on the event loop only."""

    def __init__(self) -> None:
        self._locks: dict[tuple[str, str], tuple[asyncio.Lock, int]] = {}

    @asynccontextmanager
    async def turn(self, organisation: str, reference: str) -> AsyncIterator[None]:
        """Wait for the turn of an episode, and have it."""
        name = (organisation, reference)
        lock, waiting = self._locks.get(name, (asyncio.Lock(), 0))
        self._locks[name] = lock, waiting + 1
        try:
            async with lock:
                yield
        finally:
            lock, waiting = self._locks[name]
            if waiting > 1:
                self._locks[name] = lock, waiting - 1
            else:
                del self._locks[name]


def reference_in(body: bytes) -> str:
    """The episode that a request names, as far as can be told without reading it; empty where it cannot."""
    found = _NAMED.search(body)
    return found[1].decode(errors="replace") if found else ""
