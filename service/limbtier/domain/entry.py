"""An entry of the log, and what is kept beside it so that decisions can be found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

Also = Callable[[Any, int], None]
"""Changes further rows in the transaction that appends an entry: gets its cursor (PEP 249, statements made
by `Database.text`) and the position of the entry. Whatever it raises undoes the entry too. It may be called
again, with another position, when a batch is tried anew; so it changes rows and nothing else."""


@dataclass(frozen=True, slots=True)
class DecidedLimb:
    """One leg of a decision, as decisions are found by it. `rules` are those that counted."""

    side: str
    tier: str
    disposition: str
    rules: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DecisionIndex:
    """What a decision is found by."""

    edition: str
    episode: str | None
    decided_at: datetime
    limbs: tuple[DecidedLimb, ...]


@dataclass(frozen=True, slots=True)
class Retry:
    """What a retry of a request is known by: the caller, its key, and the SHA-256 of the request's body."""

    caller: str
    key: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry to append. `data` is its canonical JSON (RFC 8785) and never changes; `id` stands once in
    the log; `organisation` is who may read it, None for entries about the service itself. `also` changes what
    must change with it, or not at all."""

    kind: str
    id: str
    organisation: str | None
    at: datetime
    data: bytes
    decision: DecisionIndex | None = None
    retry: Retry | None = None
    also: Also | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class DecisionFilter:
    """Which decisions are wanted; None is any. `tier`, `disposition` and `rule` hold for one and the same
    leg; `decided_from` is included, `decided_before` is not."""

    organisation: str
    episode: str | None = None
    edition: str | None = None
    tier: str | None = None
    disposition: str | None = None
    rule: str | None = None
    decided_from: datetime | None = None
    decided_before: datetime | None = None


@dataclass(frozen=True, slots=True)
class FoundDecision:
    """A decision in short."""

    position: int
    id: str
    edition: str
    episode: str | None
    decided_at: datetime
    limbs: tuple[DecidedLimb, ...]
