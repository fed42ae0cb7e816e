"""Who calls the service, and what it may do."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Caller:
    """A caller whose token was accepted. `id` is never a person's name; `organisation` owns its decisions."""

    id: str
    organisation: str
    scopes: frozenset[str]
