"""Since when a log that takes entries cannot be signed, and how long that may last.

Entries that are not signed yet are in the log like all others, and the first checkpoint afterwards proves
them; so a folder of keys that cannot be read for a while does not stop decisions. But until then nothing
would show that such entries were taken from the end of the log; so it must not last.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from datetime import datetime
from typing import Final

from limbtier.foundation.clock import Clock
from limbtier.foundation.errors import LimbtierError
from limbtier.store.faults import fault

GRACE_SECONDS: Final = 900
"""How long a log may go on without a signature, unless a deployment says otherwise."""

alarm = logging.getLogger("limbtier.alarm")


class SigningHealth:
    """Told of each failure and each success. `grace`: seconds from the first failure until it is overdue."""

    def __init__(self, clock: Clock, grace: float, seconds: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._grace = grace
        self._seconds = seconds
        self._lock = threading.Lock()
        self._since: tuple[datetime, float] | None = None
        self._overdue = False

    @property
    def failing_since(self) -> datetime | None:
        """When it failed first since it worked; None while it works."""
        since = self._since
        return None if since is None else since[0]

    def failed(self, error: LimbtierError) -> None:
        """It failed. Raises an alarm at the first time, and once when it is overdue."""
        with self._lock:
            first = self._since is None
            since = self._since = self._since or (self._clock(), self._seconds())
            late = not self._overdue and self._late()
            self._overdue = self._overdue or late
        if first:
            alarm.critical("the log cannot be signed: %s", error)
        if late:
            alarm.critical(
                "the log has not been signed since %s, so the service is not ready any more: %s",
                since[0].isoformat(),
                error,
            )

    def worked(self) -> None:
        """It worked."""
        with self._lock:
            since, self._since, self._overdue = self._since, None, False
        if since is not None:
            alarm.warning("the log is signed again; it was not since %s", since[0].isoformat())

    def require_in_time(self) -> None:
        """Raises StoreUnavailable once it is overdue."""
        if self._late():
            raise fault(
                f"The log cannot be signed since {self.failing_since}.",
                "Put the log's folder of keys back; the alarms of the service say what is wrong with it.",
            )

    def _late(self) -> bool:
        since = self._since
        return since is not None and self._seconds() - since[1] >= self._grace
