"""Measures what an edition would have changed: past assessments are decided by it, and compared leg by leg.

A decision record is compared with what was decided then, whatever edition did it; a plain assessment with
what the service would decide now. A leg that differs is decided in full, by both engines and under all
guard rails; for one that does not, only what is compared is worked out. What cannot be decided is listed,
never left out.
"""

from __future__ import annotations

import gc
import itertools
import multiprocessing
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from limbtier.engine.episode_completion import Recorded
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidRuleFiles, LimbtierError
from limbtier.foundation.strict_json import read_json
from limbtier.governance.impact import (
    Impact,
    LegChange,
    LegReasons,
    NotDecided,
    causes_of,
    review_move,
    tier_move,
)
from limbtier.measures.working_days import CalendarRangeError
from limbtier.use_cases.assessment_request import EditionFor, read_assessment
from limbtier.use_cases.compare_editions import edition_named
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.leg_outcomes import (
    NoDecisionRecord,
    Outcomes,
    StoredDecision,
    outcomes_by,
    read_record,
)
from limbtier.use_cases.past_assessments import DECISIONS_PATH, PastAssessment, PastAssessments, Portion
from limbtier.use_cases.ready_rules import ready_rules

Progress = Callable[[Impact, float], None]
_About = tuple[str, str | None, str | None]  # which assessment: reference, link, episode
NO_EDITION: Final = "none"
NOT_A_DECISION: Final = "not-a-decision"


@dataclass(frozen=True, slots=True)
class Candidate:
    """What is measured: an edition of a rules folder, against another of it. `against` None is what was
    decided, or for plain assessments what the service would decide now, by the active edition of `rule_set`
    where an assessment names none."""

    rules_folder: Path
    edition: str
    against: str | None = None
    rule_set: str | None = None

    def rules(self) -> ReadyRules:
        """Every edition of the folder, ready. Raises InvalidRuleFiles and InvalidSettings."""
        return ready_rules(self.rules_folder, self.rule_set)


def measure_impact(
    past: PastAssessments,
    candidate: Candidate,
    progress: Progress = lambda _impact, _share: None,
    processes: int | None = None,
) -> Impact:
    """Decide everything again. `progress` is told what was counted so far, and the share that is done.

    Several processes work where there is more than one portion; `processes` None is one for each core.
    Raises NotFound for an unknown edition, InvalidRuleFiles, StoreUnavailable and OSError.
    """
    measurer = Measurer.of(candidate.rules(), candidate)
    rest = past.portions()
    first = list(itertools.islice(rest, 2))
    portions = itertools.chain(first, rest)
    count = processes or os.cpu_count() or 1
    parts = (
        ((measurer.measure(one.read()), one.share) for one in portions)
        if len(first) < 2 or count == 1
        else _in_processes(portions, candidate, measurer.candidate.edition.digest, count)
    )
    impact = Impact()
    for part, share in parts:
        impact.take_in(part)
        progress(impact, share)
    return impact


class _Refused(Exception):
    """No decision: by which edition, a code, and why."""

    def __init__(self, edition: str, code: str, reasons: Sequence[str]) -> None:
        self.edition, self.code, self.reasons = edition, code, tuple(reasons)
        super().__init__(code)


@dataclass(frozen=True, slots=True)
class Measurer:
    """Decides past assessments by the candidate, and where need be by what it is measured against."""

    rules: ReadyRules
    candidate: PreparedEdition
    against: PreparedEdition | None

    @classmethod
    def of(cls, rules: ReadyRules, candidate: Candidate) -> Measurer:
        """Raises NotFound for an unknown edition."""
        against = None if candidate.against is None else edition_named(rules, candidate.against)
        return cls(rules, edition_named(rules, candidate.edition), against)

    def measure(self, past: Iterable[PastAssessment]) -> Impact:
        """Decide and compare these."""
        impact = Impact()
        for one in past:
            impact.assessments += 1
            self._take(one, impact)
        return impact

    def _take(self, past: PastAssessment, impact: Impact) -> None:
        reference, link = past.reference, past.link
        try:
            record = self._record(past.data)
            if record is not None and record.id is not None:
                reference, link = record.id, DECISIONS_PATH + record.id
            request = _request(past.data if record is None else record.received)
            before = self._before(request, record)
            completing = None if record is None else record.completing
            after = self._outcomes(request, lambda _name, _moment: self.candidate, self.candidate, completing)
            changes = self._changes(before, after, (reference, link, request.get("episode")))
        except _Refused as error:
            impact.not_decided.append(NotDecided(reference, link, error.edition, error.code, error.reasons))
            return
        for side, leg in after.legs.items():
            impact.add(before.edition, before.legs[side], leg, changes.get(side))

    def _record(self, data: bytes) -> StoredDecision | None:
        try:
            return read_record(data)
        except NoDecisionRecord as error:
            raise _Refused(NO_EDITION, NOT_A_DECISION, (str(error),)) from None

    def _before(self, request: Any, record: StoredDecision | None) -> Outcomes:
        """What is compared with. Raises _Refused."""
        if self.against is not None:
            completing = None if record is None else record.completing
            return self._outcomes(request, lambda _name, _moment: self.against, self.against, completing)
        if record is not None:
            return record.outcomes
        return self._outcomes(request, self.rules.edition, None, None)

    def _outcomes(
        self,
        request: Any,
        edition_for: EditionFor,
        expected: PreparedEdition | None,
        completing: Recorded | None,
    ) -> Outcomes:
        """What an edition says now, of the assessment as it was completed. Raises _Refused."""
        by = NO_EDITION if expected is None else expected.edition.id
        try:
            assessment, prepared = read_assessment(
                request, edition_for, self.rules.calendars, completing=completing
            )
            by = prepared.edition.id
            return outcomes_by(prepared, assessment, self.rules.calendars[assessment.calendar])
        except (LimbtierError, CalendarRangeError) as error:
            raise _Refused(by, error.code, _reasons(error)) from None

    def _changes(self, before: Outcomes, after: Outcomes, about: _About) -> Mapping[str, LegChange]:
        """The legs that differ, by side. Raises _Refused where one cannot be compared, or where the
        candidate, deciding in full, gives no answer."""
        ranks = self.candidate.ranks
        for side in after.legs:
            leg = before.legs.get(side)
            if leg is None or not {leg.tier, leg.target_tier} <= ranks.keys():
                text = f"It has no tier of the {side} leg."
                raise _Refused(before.edition, NOT_A_DECISION, (text,))
        return {
            side: _change(before, after, side, ranks, about)
            for side, leg in after.legs.items()
            if leg != before.legs[side]
        }


def _in_full(outcomes: Outcomes, side: str) -> LegReasons:
    try:
        return outcomes.reasons(side)
    except NoDecisionRecord as error:
        raise _Refused(outcomes.edition, NOT_A_DECISION, (str(error),)) from None
    except (LimbtierError, CalendarRangeError) as error:
        raise _Refused(outcomes.edition, error.code, _reasons(error)) from None


def _change(
    before: Outcomes, after: Outcomes, side: str, ranks: Mapping[str, int], about: _About
) -> LegChange:
    was, now = before.legs[side], after.legs[side]
    reference, link, episode = about
    return LegChange(
        reference=reference,
        link=link,
        episode=episode,
        side=side,
        edition=before.edition,
        before=was,
        after=now,
        tier=tier_move(ranks[was.tier], ranks[now.tier]),
        review=review_move(was.review_due_on, now.review_due_on),
        causes=causes_of(was, now, _in_full(before, side), _in_full(after, side), ranks),
    )


def _request(data: bytes) -> Any:
    """The request, read strictly. Raises _Refused."""
    try:
        request = read_json(data)
        if not isinstance(request, dict):
            raise _Refused(NO_EDITION, "invalid-assessment", ("It is no object.",))
    except LimbtierError as error:
        raise _Refused(NO_EDITION, error.code, _reasons(error)) from None
    return request


def _reasons(error: LimbtierError | CalendarRangeError) -> list[str]:
    return [f"{item.pointer}: {item.message}" if item.pointer else item.message for item in error.diagnostics]


@dataclass(frozen=True, slots=True)
class _Failed:
    """An error in another process, to be raised in this one."""

    kind: type[LimbtierError]
    diagnostics: tuple[Diagnostic, ...]


_measurers: list[Measurer] = []  # the one of a working process


def _open_process(candidate: Candidate) -> None:
    _measurers.append(Measurer.of(candidate.rules(), candidate))
    gc.freeze()  # what is loaded now stays; collections need not look at it


def _measure_portion(portion: Portion, digest: str) -> Impact | _Failed:
    measurer = _measurers[0]
    edition = measurer.candidate.edition
    if edition.digest != digest:
        message = f"The files of {edition.id} were changed while its impact was measured."
        return _Failed(
            InvalidRuleFiles, (Diagnostic("rule-files-changed", message, "Leave them, and measure again."),)
        )
    try:
        return measurer.measure(portion.read())
    except LimbtierError as error:
        return _Failed(type(error), error.diagnostics)


def _in_processes(
    portions: Iterator[Portion], candidate: Candidate, digest: str, count: int
) -> Iterator[tuple[Impact, float]]:
    """Each portion measured by one of several processes, in the order of the portions."""
    context = multiprocessing.get_context("spawn")
    waiting: deque[tuple[Future[Impact | _Failed], float]] = deque()
    with ProcessPoolExecutor(count, context, _open_process, (candidate,)) as pool:
        try:
            while True:
                for portion in itertools.islice(portions, 2 * count - len(waiting)):
                    waiting.append((pool.submit(_measure_portion, portion, digest), portion.share))
                if not waiting:
                    return
                future, share = waiting.popleft()
                part = future.result()
                if isinstance(part, _Failed):
                    raise part.kind(part.diagnostics)
                yield part, share
        except BrokenProcessPool:
            raise OSError("a process that measured the impact ended before its time") from None
        finally:
            for future, _ in waiting:
                future.cancel()
