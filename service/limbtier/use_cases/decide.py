"""Decide an assessment: read it, decide it, write it down. Every caller goes this one way.

A decision becomes an entry of the log and is given only once the log has it. A preview is the same answer,
logged nowhere.
"""

from __future__ import annotations

import logging
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from limbtier.domain.assessment import Assessment, day_of
from limbtier.domain.caller import Caller
from limbtier.domain.decision import Decision
from limbtier.domain.edition import active_edition
from limbtier.domain.entry import DecidedLimb, DecisionIndex, Entry, Retry
from limbtier.engine.decide import decide
from limbtier.engine.episode_completion import Completing
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.clock import Clock, NewId, new_id, now
from limbtier.foundation.diagnostics import Diagnostic, pointer
from limbtier.foundation.errors import EnginesDisagree, GuardRailBroken, InvalidAssessment
from limbtier.foundation.settings import DEFAULT_RULE_SET
from limbtier.foundation.strict_json import read_json
from limbtier.measures.working_days import CalendarRangeError, WorkingCalendar
from limbtier.use_cases.assessment_request import read_assessment
from limbtier.use_cases.decision_record import RecordWriter, record_writer

alarm = logging.getLogger("limbtier.alarm")


@dataclass(frozen=True, slots=True)
class ReadyRules:
    """Every edition ready to decide, as one unchanging whole: requests see all of it or none of it.
    `rule_set` is the set whose active edition decides when none is asked for."""

    editions: Mapping[str, PreparedEdition]
    writers: Mapping[str, RecordWriter]
    calendars: Mapping[str, WorkingCalendar]
    rule_set: str
    _starts: tuple[date, ...] = field(init=False)
    _active: tuple[PreparedEdition | None, ...] = field(init=False)

    def __post_init__(self) -> None:
        editions = [one.edition for one in self.editions.values()]
        starts = sorted({edition.effective_from for edition in editions})
        active = [active_edition(editions, day, self.rule_set) for day in starts]
        object.__setattr__(self, "_starts", tuple(starts))
        object.__setattr__(self, "_active", tuple(one and self.editions[one.id] for one in active))

    @classmethod
    def of(
        cls,
        editions: list[PreparedEdition],
        calendars: Mapping[str, WorkingCalendar],
        rule_set: str = DEFAULT_RULE_SET,
    ) -> ReadyRules:
        """Prepare what answers need beside the editions themselves."""
        return cls(
            editions={prepared.edition.id: prepared for prepared in editions},
            writers={prepared.edition.id: record_writer(prepared) for prepared in editions},
            calendars=calendars,
            rule_set=rule_set,
        )

    def edition(self, name: str | None, moment: datetime) -> PreparedEdition | None:
        """An edition by id; for None the active one on the day of the moment. None when there is none."""
        if name is not None:
            return self.editions.get(name)
        begun = bisect_right(self._starts, day_of(moment))
        return self._active[begun - 1] if begun else None

    def deciding(self, name: str | None, moment: datetime) -> PreparedEdition | None:
        """The same for a new decision: one that is retired decides nothing new, also for who names it."""
        found = self.edition(name, moment)
        return None if found is None or found.edition.status == "retired" else found


class Decider:
    """Turns request bytes into answer bytes."""

    def __init__(self, rules: ReadyRules, clock: Clock = now, identifiers: NewId = new_id) -> None:
        self.rules = rules
        self._clock = clock
        self._identifiers = identifiers

    def preview(self, body: bytes) -> bytes:
        """The answer to an assessment, stored nowhere and without an id.

        Raises NotJson, InvalidAssessment, EnginesDisagree or GuardRailBroken.
        """
        decision, writer = self.decision(body)
        return writer.write(decision, None, body)

    def entry(self, body: bytes, caller: Caller, retry: Retry | None = None) -> Entry:
        """The decision as an entry, not yet in the log: its data is the answer, to be given once the log has
        it. Raises as `preview`."""
        decision, writer = self.decision(body)
        decision_id = self._identifiers()
        return Entry(
            kind="decision",
            id=decision_id,
            organisation=caller.organisation,
            at=decision.decided_at,
            data=writer.write(decision, decision_id, body, caller),
            decision=decision_index(decision, writer),
            retry=retry,
        )

    def new_id(self) -> str:
        """An id for an entry."""
        return self._identifiers()

    def decision(
        self, body: bytes, *, form: bool = False, completing: Completing | None = None
    ) -> tuple[Decision, RecordWriter]:
        """The decision itself and the writer of its edition; with `form`, a leg may have no answer yet;
        `completing` fills in what is known of its episode. Raises as `preview`."""
        rules = self.rules
        assessment, prepared = read_assessment(
            read_json(body), rules.deciding, rules.calendars, form=form, completing=completing
        )
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


def decision_index(decision: Decision, writer: RecordWriter) -> DecisionIndex:
    """What the decision is found by."""
    names = writer.rule_ids
    return DecisionIndex(
        edition=decision.edition_id,
        episode=decision.assessment.episode,
        decided_at=decision.decided_at,
        limbs=tuple(
            DecidedLimb(
                side,
                limb.tier,
                limb.disposition,
                tuple(name for name, state in zip(names, limb.trace.rules, strict=True) if state),
            )
            for side, limb in decision.limbs.items()
        ),
    )
