"""Completes an assessment from the history of its episode, before anything is decided.

What the caller answered is compared with the history and never changed, with one exception that the pathway
asks for: an arterial measurement is kept until a later one takes its place, so that a stop is not forgotten
when the test cannot be repeated. Whatever was filled in or put in place of an answer is told.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Final, Protocol

from limbtier.domain.assessment import Answer, Side
from limbtier.domain.episode_state import (
    EpisodeState,
    Given,
    KeptGroup,
    LimbState,
    Stored,
    rank,
    stored,
)
from limbtier.domain.pathway import Pathway
from limbtier.domain.stored_answers import answer_of
from limbtier.engine.answers import AnswerReader
from limbtier.engine.arterial_test import hides_result
from limbtier.engine.likely_slips import Slip, likely_slips
from limbtier.foundation.answer_states import NOT_DONE
from limbtier.foundation.diagnostics import Diagnostic, pointer

PERSON: Final = "person"
_MEASURED_AT_START: Final = ("start_wound_area_cm2", "start_girth_series_cm")


@dataclass(frozen=True, slots=True)
class Filled:
    """One answer that was filled in: where (`person` or a side), its value (None: taken out, because it
    belongs to a measurement that does not count), the day and the entry it comes from, and what it stands in
    place of, if the caller answered."""

    scope: str
    input: str
    value: Stored | None
    on: date
    entry: str
    instead_of: Stored | None = None


class Completing(Protocol):
    """Fills in answers while an assessment is read."""

    def person(self, reader: AnswerReader, answers: dict[str, Answer]) -> None:
        """Fill in answers of the person."""

    def limb(
        self, reader: AnswerReader, side: Side, answers: dict[str, Answer], person: Mapping[str, Answer]
    ) -> None:
        """Fill in answers of a leg. `person` are those of the person, completed."""

    def finish(self) -> list[Diagnostic]:
        """What was found meanwhile, once all was filled in."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """Fills in what a record says was filled in, and finds what it found: so a decision is made again from
    its record alone. Where the request was changed, what is then not asked is not filled in."""

    filled: tuple[Filled, ...]
    findings: tuple[Diagnostic, ...]

    def person(self, reader: AnswerReader, answers: dict[str, Answer]) -> None:
        """As recorded."""
        self._fill(PERSON, reader, answers, {})

    def limb(
        self, reader: AnswerReader, side: Side, answers: dict[str, Answer], person: Mapping[str, Answer]
    ) -> None:
        """As recorded."""
        self._fill(side, reader, answers, person)

    def finish(self) -> list[Diagnostic]:
        """As recorded."""
        return list(self.findings)

    def _fill(
        self, scope: str, reader: AnswerReader, answers: dict[str, Answer], person: Mapping[str, Answer]
    ) -> None:
        values: dict[str, Answer] = {}
        for one in self.filled:
            if one.scope != scope:
                continue
            if one.instead_of is not None:
                answers.pop(one.input, None)
            answer = None if one.value is None else answer_of(reader.inputs.get(one.input), one.value)
            if answer is not None:
                values[one.input] = answer
        reader.fill(answers, "person" if scope == PERSON else "limb", person, values)


@dataclass(slots=True)
class Completion:
    """Fills in what an episode knows on a day. For one assessment; `filled` and `findings` are what came of
    it. Findings that are errors say where the caller contradicts the history. In a `form` answers may still
    come."""

    state: EpisodeState
    pathway: Pathway
    day: date
    confirmed: Collection[str] = ()
    form: bool = False
    filled: list[Filled] = field(default_factory=list)
    findings: list[Diagnostic] = field(default_factory=list)
    _limbs: dict[Side, Mapping[str, Answer]] = field(default_factory=dict)
    _not_done: set[tuple[str, str]] = field(default_factory=set)

    def person(self, reader: AnswerReader, answers: dict[str, Answer]) -> None:
        """Fill in the kept answers of the person."""
        self._fill(PERSON, reader, answers, {}, self._in_time(self.state.kept))

    def limb(
        self, reader: AnswerReader, side: Side, answers: dict[str, Answer], person: Mapping[str, Answer]
    ) -> None:
        """Fill in the kept answers of a leg, its last measurements, and its history."""
        leg = self.state.limbs.get(side)
        self._limbs[side] = answers
        if leg is None:
            return
        for group in self.pathway.kept:
            if group.measured_by:
                self._measurement(reader, side, answers, person, leg, group)
        candidates = {**self._in_time(leg.kept), **self._history(side, leg, answers)}
        self._fill(side, reader, answers, person, candidates)

    def finish(self) -> list[Diagnostic]:
        """What differs from the history, and what looks like a slip."""
        slips = likely_slips(self.state, self.pathway.plausibility, self.day, self._limbs)
        return self.findings + [slip.diagnostic() for slip in slips if slip.name not in self.confirmed]

    def _in_time(self, kept: Mapping[str, Given]) -> dict[str, Given]:
        """The kept answers that still count, without measurements."""
        found: dict[str, Given] = {}
        for group in self.pathway.kept:
            if group.measured_by:
                continue
            for name in group.inputs:
                given = kept.get(name)
                in_time = group.days is None or given is None
                if given is not None and (in_time or self.day - given.on <= timedelta(days=group.days or 0)):
                    found[name] = given
        return found

    def _fill(
        self,
        scope: str,
        reader: AnswerReader,
        answers: dict[str, Answer],
        facts: Mapping[str, Answer],
        candidates: Mapping[str, Given],
    ) -> None:
        """Fill in answers to questions that are asked and were not answered."""
        values: dict[str, Answer] = {}
        for name, given in candidates.items():
            if name in answers:
                continue
            answer = answer_of(reader.inputs.get(name), given.value)
            if answer is not None:
                values[name] = answer
        for name in reader.fill(answers, "person" if scope == PERSON else "limb", facts, values):
            given = candidates[name]
            instead = NOT_DONE if (scope, name) in self._not_done else None
            self.filled.append(Filled(scope, name, given.value, given.on, given.entry, instead))

    def _measurement(
        self,
        reader: AnswerReader,
        side: Side,
        answers: dict[str, Answer],
        person: Mapping[str, Answer],
        leg: LimbState,
        group: KeptGroup,
    ) -> None:
        """The measurement of a leg: the one that is kept, unless a later one is answered."""
        held_on = group.kept_on(leg.kept)
        if held_on is None:
            return
        given = {name: stored(answers[name]) for name in group.inputs if name in answers}
        if group.measured(given) and group.day(given, self.day) >= held_on:
            everything = {
                **{name: stored(person[name]) for name in group.inputs if name in person},
                **given,
            }
            if hides_result(group, leg.kept, everything, form=self.form):
                self._ask(side, held_on)
            return
        kept = {name: leg.kept[name] for name in group.inputs if name in leg.kept}
        source = next(iter(kept.values()))
        for name in group.inputs:
            one, instead = kept.get(name), given.get(name)
            answer = None if one is None else answer_of(reader.inputs.get(name), one.value)
            if one is not None and answer is not None:
                answers[name] = answer
                changed = instead if instead not in (None, one.value) else None
                self.filled.append(Filled(side, name, one.value, one.on, one.entry, changed))
            elif instead is not None:
                del answers[name]
                self.filled.append(Filled(side, name, None, source.on, source.entry, instead))
        if group.measured(given):
            self._warn(
                "older-measurement",
                f"The measurement answered for the {side} leg is of an earlier day than that of {held_on}.",
                "The later one counts. Correct its day if it is the newer one.",
                pointer("limbs", side, group.dated_by or group.measured_by[0]),
            )

    def _ask(self, side: Side, held_on: date) -> None:
        """Ask about a test that would take the place of a result."""
        slip = Slip(
            f"{side}/hides-result",
            "hides-result",
            f"The arterial test answered for the {side} leg comes to no ratio, or its day is not known; that "
            f"of {held_on} would count no longer.",
            "Leave the test out, to go on with the result that there is, or give what is missing.",
            pointer("limbs", side, "abpi_availability"),
        )
        if slip.name not in self.confirmed:
            self.findings.append(slip.diagnostic())

    def _history(self, side: Side, leg: LimbState, answers: dict[str, Answer]) -> dict[str, Given]:
        """The history of a leg to fill in, once it was compared with what was answered."""
        first = _on(leg.first_contact_on, leg.first_contact_on, leg.first_contact_entry)
        known: dict[str, Given] = {"first_contact_on": first}
        given_tier = answers.get("current_tier")
        settled = leg.unsettled_on is None or self.day <= leg.unsettled_on
        same = leg.tier is not None and (given_tier == leg.tier or (given_tier is None and settled))
        if leg.tier is not None and settled:
            known["current_tier"] = Given(leg.tier, leg.last_contact_on, leg.tier_entry)
        if same and leg.tier_since is not None:
            known["current_tier_since"] = _on(leg.tier_since, leg.tier_since, leg.tier_entry)
        if leg.started_on is not None:
            known["compression_started_on"] = _on(leg.started_on, leg.started_on, leg.started_entry)
        if leg.start_area is not None:
            known["start_wound_area_cm2"] = leg.start_area
        if leg.start_girths is not None:
            known["start_girth_series_cm"] = leg.start_girths
        for name, given in known.items():
            if name not in answers or stored(answers[name]) == given.value:
                continue
            if name in _MEASURED_AT_START and answers[name] == NOT_DONE:
                del answers[name]
                self._not_done.add((side, name))
            else:
                self._compare(side, leg, name, stored(answers[name]), given)
        if isinstance(given_tier, str) and not settled and rank(given_tier) > rank(leg.tier):
            self._contradiction(side, "current_tier", given_tier, str(leg.tier))
        return known

    def _compare(self, side: Side, leg: LimbState, name: str, answered: Stored, given: Given) -> None:
        """Say where an answer differs from the history: refused, unless it can only be the careful side."""
        where = pointer("limbs", side, name)
        if name == "first_contact_on" and str(answered) < str(given.value):
            message = f"`{name}` is {answered}; the episode has a first contact on {given.value}."
            self._warn("differs-from-history", message, "The earlier day counts from now on.", where)
        elif (name == "current_tier" and rank(str(answered)) < rank(leg.tier)) or _both_nothing(
            answered, leg
        ):
            message = (
                f"`{name}` is {answered}; after the last decision or event {given.value} was on the leg."
            )
            advice = "What was found counts. Tell with an event when compression was removed."
            self._warn("differs-from-history", message, advice, where)
        else:
            self._contradiction(side, name, answered, given.value)

    def _contradiction(self, side: Side, name: str, answered: Stored, known: Stored) -> None:
        self.findings.append(
            Diagnostic(
                "contradicts-history",
                f"`{name}` is {_shown(answered)}, but the episode says {_shown(known)}.",
                "Leave it out, to have it filled in. If the history is wrong, correct the decision that it "
                "comes from, or send an event that says what happened.",
                pointer("limbs", side, name),
            )
        )

    def _warn(self, code: str, message: str, advice: str, where: str) -> None:
        self.findings.append(Diagnostic(code, message, advice, where, severity="warning"))


def _both_nothing(answered: Stored, leg: LimbState) -> bool:
    """Whether both say that nothing is on, in two words."""
    return answered in ("none", "withhold") and leg.tier in ("none", "withhold")


def _on(value: date, day: date, entry: str) -> Given:
    return Given(value.isoformat(), day, entry)


def _shown(value: Stored) -> str:
    """An answer for people."""
    return _decimal(value) if isinstance(value, str) else ", ".join(map(_decimal, value))


def _decimal(text: str) -> str:
    top, slash, bottom = text.partition("/")
    return f"{int(top) / int(bottom):g}" if slash else text
