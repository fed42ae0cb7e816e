"""Decide an assessment: read it, decide it, store it, answer. Every caller goes this one way.

A decision that cannot be stored is not given. A preview is the same answer, stored nowhere.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from limbtier.domain.assessment import Assessment, day_of
from limbtier.domain.caller import Caller
from limbtier.domain.decision import Decision
from limbtier.domain.edition import active_edition
from limbtier.engine.decide import decide
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.clock import Clock, NewId, new_id, now
from limbtier.foundation.diagnostics import Diagnostic, pointer
from limbtier.foundation.errors import EnginesDisagree, GuardRailBroken, InvalidAssessment
from limbtier.foundation.strict_json import read_json
from limbtier.measures.working_days import CalendarRangeError, WorkingCalendar
from limbtier.use_cases.assessment_request import read_assessment
from limbtier.use_cases.decision_record import RecordWriter, record_writer

alarm = logging.getLogger("limbtier.alarm")


class Store(Protocol):
    """Where decisions are kept."""

    def append(self, decision_id: str, edition: str, decided_at: datetime, record: bytes) -> None:
        """Keep a record durably, or raise StoreUnavailable."""


@dataclass(frozen=True, slots=True)
class ReadyRules:
    """Every edition ready to decide, as one unchanging whole: requests see all of it or none of it."""

    editions: Mapping[str, PreparedEdition]
    writers: Mapping[str, RecordWriter]
    calendars: Mapping[str, WorkingCalendar]

    @classmethod
    def of(cls, editions: list[PreparedEdition], calendars: Mapping[str, WorkingCalendar]) -> ReadyRules:
        """Prepare what answers need beside the editions themselves."""
        return cls(
            editions={prepared.edition.id: prepared for prepared in editions},
            writers={prepared.edition.id: record_writer(prepared) for prepared in editions},
            calendars=calendars,
        )

    def edition(self, name: str | None, moment: datetime) -> PreparedEdition | None:
        """An edition by id; for None the active one on the day of the moment. None when there is none."""
        if name is not None:
            return self.editions.get(name)
        found = active_edition((one.edition for one in self.editions.values()), day_of(moment))
        return None if found is None else self.editions[found.id]


class Decider:
    """Turns request bytes into answer bytes."""

    def __init__(
        self, rules: ReadyRules, store: Store | None, clock: Clock = now, identifiers: NewId = new_id
    ) -> None:
        self.rules = rules
        self._store = store
        self._clock = clock
        self._identifiers = identifiers

    def preview(self, body: bytes) -> bytes:
        """The answer to an assessment, stored nowhere and without an id.

        Raises NotJson, InvalidAssessment, EnginesDisagree or GuardRailBroken.
        """
        decision, writer = self.decision(body)
        return writer.write(decision, None, body)

    def decide(self, body: bytes, caller: Caller) -> tuple[str, bytes]:
        """The id and the answer, after it was stored. Raises as `preview`, and StoreUnavailable."""
        if self._store is None:
            raise RuntimeError("this decider has no store; only previews can be made")
        decision, writer = self.decision(body)
        decision_id = self._identifiers()
        record = writer.write(decision, decision_id, body, caller)
        self._store.append(decision_id, decision.edition_id, decision.decided_at, record)
        return decision_id, record

    def decision(self, body: bytes) -> tuple[Decision, RecordWriter]:
        """The decision itself and the writer of its edition. Raises as `preview`."""
        rules = self.rules
        assessment, prepared = read_assessment(read_json(body), rules.edition)
        return self._decide(rules, prepared, assessment), rules.writers[prepared.edition.id]

    def _decide(self, rules: ReadyRules, prepared: PreparedEdition, assessment: Assessment) -> Decision:
        try:
            return decide(prepared, assessment, rules.calendars[assessment.calendar], self._clock())
        except CalendarRangeError as error:
            raise InvalidAssessment(
                [
                    Diagnostic("outside-calendar", item.message, item.help, pointer("assessed_at"))
                    for item in error.diagnostics
                ]
            ) from None
        except (EnginesDisagree, GuardRailBroken) as error:
            alarm.critical("%s with edition %s: %s", error.code, prepared.edition.id, error)
            raise
