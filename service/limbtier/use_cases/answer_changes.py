"""Which change of one answer would have changed a decision, found by deciding again.

Every answer is replaced by each other answer it may have; a number or a day is moved outward along a grid,
and the nearest value that changes the outcome is then narrowed down. This is an explanation: what lies
between two points of the grid and changes the outcome only there is not seen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Final

from limbtier.domain.assessment import SIDES, Side
from limbtier.domain.decision import LimbDecision
from limbtier.domain.vocabulary import Input
from limbtier.foundation.answer_states import NOT_DONE
from limbtier.foundation.errors import EnginesDisagree, GuardRailBroken, InvalidAssessment
from limbtier.measures.working_days import CalendarRangeError
from limbtier.use_cases.stored_decision import StoredDecision

GRID: Final = 24
DAYS_BEFORE: Final = (0, 1, 2, 3, 7, 13, 14, 21, 28, 42, 84, 365)
NOT_RECORDED: Final = "not_recorded"

Outcome = tuple[str, str, str, str]
"""Disposition, tier, target tier and review day of one leg."""


@dataclass(frozen=True, slots=True)
class AnswerChange:
    """One answer changed, and what comes out. `side` is None for an answer about the person.

    `given` and `instead` are the answers as JSON values; None stands for not recorded. `no_longer_asked`
    are answers that had to be left out because the changed one contradicts them.
    """

    input: str
    side: Side | None
    given: Any
    instead: Any
    no_longer_asked: tuple[str, ...]
    outcomes: Mapping[Side, Outcome]


def outcome_of(limb: LimbDecision) -> Outcome:
    """What a change is compared by."""
    return (limb.disposition, limb.tier, limb.target_tier, limb.review.due_on.isoformat())


def answer_changes(stored: StoredDecision, request: Mapping[str, Any]) -> list[AnswerChange]:
    """For each answer the nearest other answer to each other outcome; inputs in the vocabulary's order."""
    search = _Search(stored, request)
    found: list[AnswerChange] = []
    for entry in stored.prepared.edition.vocabulary.inputs.values():
        if entry.scope == "person":
            found += search.changes(entry, None)
        else:
            for side in SIDES:
                if side in request["limbs"]:
                    found += search.changes(entry, side)
    return found


class _Search:
    def __init__(self, stored: StoredDecision, request: Mapping[str, Any]) -> None:
        self._stored = stored
        self._request = request
        assessment = stored.assessment(deepcopy(dict(request)))
        self._today = assessment.assessed_on
        decision = stored.decide(assessment)
        self._as_it_was = {side: outcome_of(limb) for side, limb in decision.limbs.items()}

    def changes(self, entry: Input, side: Side | None) -> Iterator[AnswerChange]:
        """Changes of one answer, one for each other outcome."""
        answers = self._request["person"] if side is None else self._request["limbs"][side]
        given = answers.get(entry.name)
        seen: set[tuple[tuple[Side, Outcome], ...]] = {tuple(self._as_it_was.items())}

        def tried(instead: Any) -> AnswerChange | None:
            return self._tried(entry, side, given, instead)

        for found in self._candidates(entry, given, tried):
            outcomes = tuple(found.outcomes.items())
            if outcomes not in seen:
                seen.add(outcomes)
                yield found

    def _candidates(
        self, entry: Input, given: Any, tried: Callable[[Any], AnswerChange | None]
    ) -> Iterator[AnswerChange]:
        others: list[Any] = []
        match entry.kind:
            case "flag":
                others = [True, False]
            case "choice":
                others = [choice.value for choice in entry.choices]
            case "whole_number" | "number":
                yield from self._numbers(entry, given, tried)
            case "date":
                yield from self._days(given, tried)
            case "number_series":
                pass  # many numbers at once: no single smallest change to tell
        if entry.may_be_not_done:
            others.append(NOT_DONE)
        if given is not None:
            others.append(None)
        for other in others:
            if other != given or isinstance(other, bool) != isinstance(given, bool):
                found = tried(other)
                if found is not None:
                    yield found

    def _numbers(
        self, entry: Input, given: Any, tried: Callable[[Any], AnswerChange | None]
    ) -> Iterator[AnswerChange]:
        scale = 10**entry.places
        low, high = entry.range.at_least, entry.range.at_most
        if low is None or high is None:
            return
        first, last = -(-low * scale // 1), high * scale // 1
        points = sorted({int(first + (last - first) * step // GRID) for step in range(GRID + 1)})

        def at(place: int) -> AnswerChange | None:
            number = Decimal(place) / scale
            return tried(int(number) if entry.places == 0 else number)

        if given is None or isinstance(given, str):
            yield from _upward(points, at)
            return
        here = int(given * scale)
        yield from _outward(here, [place for place in points if place > here], at)
        yield from _outward(here, [place for place in reversed(points) if place < here], at)

    def _days(self, given: Any, tried: Callable[[Any], AnswerChange | None]) -> Iterator[AnswerChange]:
        def at(ordinal: int) -> AnswerChange | None:
            return tried(date.fromordinal(ordinal).isoformat())

        points = [(self._today - timedelta(days=days)).toordinal() for days in DAYS_BEFORE]
        if given is None:
            yield from _upward(sorted(points), at)
            return
        here = date.fromisoformat(given).toordinal()
        yield from _outward(here, sorted(place for place in points if place > here), at)
        yield from _outward(here, [place for place in points if place < here], at)

    def _tried(self, entry: Input, side: Side | None, given: Any, instead: Any) -> AnswerChange | None:
        """The outcome with one answer changed; None when such an assessment cannot be."""
        request = {
            **self._request,
            "person": dict(self._request["person"]),
            "limbs": {name: dict(answers) for name, answers in self._request["limbs"].items()},
        }
        answers = request["person"] if side is None else request["limbs"][side]
        if instead is None:
            del answers[entry.name]
        else:
            answers[entry.name] = instead
        left_out: list[str] = []
        try:
            assessment = self._stored.assessment(request)
        except InvalidAssessment as error:
            if any(item.code != "contradicting-answer" for item in error.diagnostics):
                return None
            for item in error.diagnostics:
                steps = (item.pointer or "").split("/")[1:]
                home = request["person"] if steps[0] == "person" else request["limbs"][steps[1]]
                if steps[-1] == entry.name:
                    return None  # the changed answer itself is not asked
                del home[steps[-1]]
                left_out.append(steps[-1])
            try:
                assessment = self._stored.assessment(request)
            except InvalidAssessment:
                return None
        try:
            limbs = self._stored.decide(assessment).limbs
        except (CalendarRangeError, EnginesDisagree, GuardRailBroken):
            return None
        return AnswerChange(
            entry.name,
            side,
            given,
            instead,
            tuple(dict.fromkeys(left_out)),
            {name: outcome_of(limb) for name, limb in limbs.items()},
        )


def _upward(points: list[int], at: Callable[[int], AnswerChange | None]) -> Iterator[AnswerChange]:
    """Where no value was given: the outcome at the first point, and each first value of another above it."""
    first = at(points[0])
    if first is not None:
        yield first
    yield from _outward(points[0], points[1:], at)


def _outward(
    here: int, points: list[int], at: Callable[[int], AnswerChange | None]
) -> Iterator[AnswerChange]:
    """Along points that lead away from `here`, each first value at which the outcome is another."""
    last_place, last = here, at(here)
    for place in points:
        found = at(place)
        if found is None:
            continue
        if last is None or found.outcomes != last.outcomes:
            yield _narrowed(last_place, place, found, at)
        last_place, last = place, found


def _narrowed(
    same: int, other: int, found: AnswerChange, at: Callable[[int], AnswerChange | None]
) -> AnswerChange:
    """The value nearest to `same` that still gives the outcome found at `other`."""
    while abs(other - same) > 1:
        middle = (same + other) // 2
        between = at(middle)
        if between is not None and between.outcomes == found.outcomes:
            other, found = middle, between
        else:
            same = middle
    return found
