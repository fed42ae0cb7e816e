"""Lets a caller send the same request again safely: it is decided once and answered alike every time.

The key is the caller's; it counts for that caller only, and for one organisation: the same client may come
with tokens of several. What was answered is found in the log itself, so a retry is answered byte for byte as
before, by every worker, for as long as the log exists.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

import orjson

from limbtier.domain.caller import Caller
from limbtier.domain.entry import Retry
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import RequestInProgress, RetryKeyReused
from limbtier.store.entries import EntryStore, StoredEntry
from limbtier.store.faults import damaged

ANSWERS: Final = ("decision", "episode_event")
"""Kinds of entries that are answers to requests."""


def retry_of(caller: Caller, key: str, body: bytes) -> Retry:
    """What a retry is known by: who asked, the key, and the digest of what was asked."""
    return Retry(_name(caller.organisation, caller.id), key, hashlib.sha256(body).digest())


def refuse_other_request(now: Retry, before: bytes) -> None:
    """Raises RetryKeyReused when the key was used with another request, whose digest is `before`."""
    if now.payload != before:
        raise RetryKeyReused(
            [
                Diagnostic(
                    "idempotency-key-reused",
                    "This key was used for a request with another body.",
                    "Use a new key for each new request, and the same key only to repeat the same request.",
                )
            ]
        )


def answered_before(store: EntryStore, retry: Retry) -> StoredEntry | None:
    """The entry with the answer that was given to this request, if it was answered. Raises RetryKeyReused
    when the key was used for another request, or StoreUnavailable, also when the place that is kept for the
    answer holds something else: what is not an answer to this request is never given as one."""
    before = store.find_retry(retry.caller, retry.key)
    if before is None:
        return None
    refuse_other_request(retry, before.payload)
    entry = store.entry(before.position)
    if entry is None or not _answers(entry, retry):
        raise damaged(f"Entry {before.position} of the log is not the answer that a retry key names.")
    return entry


def _answers(entry: StoredEntry, retry: Retry) -> bool:
    record = orjson.loads(entry.data)
    return (
        record["kind"] in ANSWERS
        and _name(record["caller"]["organisation"], record["caller"]["id"]) == retry.caller
        and hashlib.sha256(record["received"].encode()).digest() == retry.payload
    )


def _name(organisation: str, caller_id: str) -> str:
    """Whom a key counts for. No organisation has a space in its name."""
    return f"{organisation} {caller_id}"


class RequestsInProgress:
    """Keyed requests that this worker is answering now. Used on the event loop only, so without a lock."""

    def __init__(self) -> None:
        self._running: dict[tuple[str, str], bytes] = {}

    @contextmanager
    def claimed(self, retry: Retry) -> Iterator[None]:
        """Hold the key while the request is answered. Raises RequestInProgress, or RetryKeyReused when the
        request in progress is another one."""
        name = (retry.caller, retry.key)
        running = self._running.get(name)
        if running is not None:
            refuse_other_request(retry, running)
            raise RequestInProgress(
                [
                    Diagnostic(
                        "request-in-progress",
                        "A request with this key is being answered.",
                        "Wait a moment, then send the same request with the same key again.",
                    )
                ]
            )
        self._running[name] = retry.payload
        try:
            yield
        finally:
            del self._running[name]
