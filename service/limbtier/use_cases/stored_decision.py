"""A stored decision made ready to be decided again: its request, and the very edition that decided it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import orjson

from limbtier.domain.assessment import Assessment
from limbtier.domain.caller import Caller
from limbtier.domain.decision import Decision
from limbtier.engine.decide import decide
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import EditionUnavailable
from limbtier.foundation.strict_json import read_json
from limbtier.use_cases.assessment_request import read_assessment
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.recorded_completion import recorded


@dataclass(frozen=True, slots=True)
class StoredDecision:
    """A decision record, and what made it. Made by `open_decision`."""

    data: bytes
    record: Mapping[str, Any]
    rules: ReadyRules
    prepared: PreparedEdition

    def assessment(self, value: Any | None = None) -> Assessment:
        """The assessment as it was received and completed from its episode, or another request in its place,
        completed alike. Raises InvalidAssessment."""
        request = read_json(self.record["received"].encode()) if value is None else value
        return read_assessment(
            request,
            lambda _name, _moment: self.prepared,
            self.rules.calendars,
            completing=recorded(self.record),
        )[0]

    def decide(self, assessment: Assessment) -> Decision:
        """Decide by the edition and at the moment of the stored decision. Raises as `engine.decide`."""
        moment = datetime.fromisoformat(self.record["decided_at"])
        return decide(self.prepared, assessment, self.rules.calendars[assessment.calendar], moment)

    def written(self, decision: Decision) -> bytes:
        """The record of a decision, with the id and the caller of the stored one."""
        caller, episode = self.record["caller"], self.record.get("episode")
        writer = self.rules.writers[self.prepared.edition.id]
        return writer.write(
            decision,
            self.record["id"],
            self.record["received"].encode(),
            Caller(caller["id"], caller["organisation"], frozenset()),
            None if episode is None else orjson.dumps(episode),
        )


def open_decision(data: bytes, rules: ReadyRules) -> StoredDecision:
    """The decision, with its edition. Raises EditionUnavailable when the service no longer has that edition
    with that digest: a decision is never made again by another one."""
    record = orjson.loads(data)
    edition_id, digest = record["edition"]["id"], record["edition"]["digest"]
    prepared = rules.editions.get(edition_id)
    if prepared is None or prepared.edition.digest != digest:
        held = "not on this service" if prepared is None else "here with another digest"
        raise EditionUnavailable(
            [
                Diagnostic(
                    "edition-unavailable",
                    f"Edition {edition_id} with digest {digest}, which made this decision, is {held}.",
                    "Put the rule files of that edition back, unchanged, and start the service again.",
                )
            ]
        )
    return StoredDecision(data, record, rules, prepared)
