"""What long work on editions has come to: still going on, with what is counted so far, or its outcome."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

WorkState = Literal["running", "done", "refused", "failed"]


@dataclass(frozen=True, slots=True)
class GovernanceResult:
    """One piece of work. `key` names what goes into it, so that the same work has the same key. It belongs to
    an organisation where it counts that organisation's decisions. `counted` of `total` parts are done, where
    that is known. `outcome` is there once it is done or refused. `seen_at`: when it last gave a sign."""

    key: str
    kind: str
    organisation: str | None
    state: WorkState
    counted: int
    total: int | None
    outcome: bytes | None
    seen_at: datetime
