"""Time and identifiers from outside, so that tests can give their own."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, datetime

Clock = Callable[[], datetime]
NewId = Callable[[], str]


def now() -> datetime:
    """The present moment, in UTC."""
    return datetime.now(UTC)


def new_id() -> str:
    """A fresh identifier that says nothing about its subject (UUID version 4, RFC 9562)."""
    return str(uuid.uuid4())
