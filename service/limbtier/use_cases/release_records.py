"""Drafts as JSON-able records, the same over HTTP and on the command line."""

from __future__ import annotations

from typing import Any

import orjson

from limbtier.domain.draft import Draft
from limbtier.use_cases.release_files import Files


def draft_summary(draft: Draft) -> dict[str, Any]:
    """A draft without what its check and its proof came to."""
    return {
        "edition": draft.edition,
        "organisation": draft.organisation,
        "revision": draft.revision,
        "etag": draft.etag,
        "state": draft.state,
        "files_digest": draft.digest,
        "digest": draft.edition_digest,
        "saved_by": list(draft.savers),
        "saved_at": draft.saved_at.isoformat(),
        "approved_by": draft.approver,
    }


def draft_record(draft: Draft, files: Files | None = None) -> dict[str, Any]:
    """A draft with what its check and its proof came to, null before; with its files where they are given."""
    record = {
        **draft_summary(draft),
        "check": None if draft.check is None else orjson.loads(draft.check),
        "proof": None if draft.proof is None else orjson.loads(draft.proof),
    }
    return record if files is None else {**record, "files": dict(files)}
