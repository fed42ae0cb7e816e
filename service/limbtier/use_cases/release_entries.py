"""The entries of the log that say what was done to a draft or an edition, by whom and why."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final, Literal

from limbtier.domain.caller import Caller
from limbtier.domain.draft import Draft
from limbtier.domain.entry import Also, Entry
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.clock import new_id
from limbtier.use_cases.record_editions import entry_id_of

Step = Literal[
    "edition_saved",
    "edition_discarded",
    "edition_checked",
    "edition_proved",
    "edition_approved",
    "edition_released",
    "edition_retired",
]
# These are about what decides for everybody; there is one for an edition and digest, whoever says so.
_ONCE: Final = ("edition_released", "edition_retired")


def draft_entry(
    step: Step, draft: Draft, caller: Caller, at: datetime, also: Also, reason: str | None, **more: Any
) -> Entry:
    """The entry of a step of a draft, which changes rows `also`."""
    about = {
        "digest": draft.edition_digest,
        "files_digest": draft.digest,
        "guard_rails_digest": None if draft.judged is None else draft.judged[1],
        "revision": draft.revision,
        **more,
    }
    return step_entry(step, draft.edition, about, caller, at, also, reason)


def step_entry(
    step: Step,
    edition: str,
    about: Mapping[str, Any],
    caller: Caller,
    at: datetime,
    also: Also,
    reason: str | None,
) -> Entry:
    """The entry of a step. `about` holds the digest of the edition, None while it was never loaded."""
    once = step in _ONCE
    entry_id = entry_id_of(step, edition, about["digest"]) if once else new_id()
    record = {
        **about,
        "at": at.isoformat(),
        "caller": {"id": caller.id, "organisation": caller.organisation},
        "edition": edition,
        "id": entry_id,
        "kind": step,
        "reason": reason,
    }
    organisation = None if once else caller.organisation
    return Entry(step, entry_id, organisation, at, canonical(record), also=also)
