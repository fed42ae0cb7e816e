"""Entries about acts that were refused to a caller who is known."""

from __future__ import annotations

from datetime import datetime

from limbtier.domain.caller import Caller
from limbtier.domain.entry import Entry
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.clock import new_id


def act_refused(caller: Caller, act: str, needed: str, at: datetime) -> Entry:
    """A caller asked for what it may not. `act` is method and route, never a path with an id; `needed` are
    the scopes of which one was needed, with a space between them."""
    entry_id = new_id()
    record = {
        "act": act,
        "at": at.isoformat(),
        "caller": {"id": caller.id, "organisation": caller.organisation},
        "id": entry_id,
        "kind": "act_refused",
        "needed": needed,
    }
    return Entry("act_refused", entry_id, caller.organisation, at, canonical(record))
