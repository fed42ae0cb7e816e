"""What the service knows of an episode before it decides, and what becomes of the episode by a decision."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

import orjson

from limbtier.domain.assessment import Side, day_of
from limbtier.domain.decision import Decision
from limbtier.domain.entry import Also
from limbtier.domain.episode import episode_problem
from limbtier.domain.episode_fold import before_first_contact, fold, in_order, refold
from limbtier.domain.episode_state import Contact, EpisodeState, Part
from limbtier.domain.pathway import Pathway
from limbtier.engine.attention import Attention
from limbtier.engine.episode_completion import Completion, Filled
from limbtier.engine.watch import Flag, Watch
from limbtier.foundation.clock import Clock, now
from limbtier.foundation.diagnostics import Diagnostic, pointer
from limbtier.foundation.errors import InvalidAssessment
from limbtier.measures.working_days import WorkingCalendar
from limbtier.store.entries import EntryStore
from limbtier.store.episodes import EpisodeChange, EpisodeTable, FoundPart, RebuiltEpisode
from limbtier.use_cases.episode_contact import part_of_record

AHEAD: Final = timedelta(days=1)
"""How far a contact may lie ahead of the service's clock: clocks differ, days do not."""

_ID: Final = re.compile(r"[0-9a-f-]{36}")


@dataclass(frozen=True, slots=True)
class Known:
    """An episode as it was read before a decision about a contact at `at`. `state` is what it was then,
    without what the contact corrects (None before its first contact); `last_position` that of the last part
    to arrive; `following` what happened after the contact, in that order."""

    organisation: str
    reference: str
    at: datetime
    corrects: str | None
    confirmed: frozenset[str]
    state: EpisodeState | None
    last_position: int | None
    following: tuple[Part, ...]


class Episodes:
    """Reads episodes and folds them on. One for an application; it keeps nothing itself."""

    def __init__(self, table: EpisodeTable, watch: Watch, attention: Attention, clock: Clock = now) -> None:
        self.table = table
        self.attention = attention
        self.pathway: Pathway = watch.pathway
        self.watch = watch
        self.clock = clock

    def known(self, organisation: str, value: Any) -> Known | None:
        """What is known of the episode that a request names; None when it names none, or is so wrong that
        reading it says so. Raises InvalidAssessment where the request does not fit the episode."""
        if not isinstance(value, dict):
            return None
        reference, at, corrects = (
            value.get("episode"),
            _moment(value.get("assessed_at")),
            value.get("corrects"),
        )
        if reference is None and corrects is not None:
            advice = "Give the episode that the decision belongs to."
            raise InvalidAssessment(
                [Diagnostic("missing-field", "`episode` is missing.", advice, pointer("episode"))]
            )
        if not isinstance(reference, str) or at is None or episode_problem(reference) is not None:
            return None
        if corrects is not None and not (isinstance(corrects, str) and _ID.fullmatch(corrects)):
            return None
        if at > self.clock() + AHEAD:
            message = "`assessed_at` lies in the future: every later contact would come before it."
            advice = "Check the day of the contact, and the clock of whoever sent it."
            raise InvalidAssessment([Diagnostic("future-date", message, advice, pointer("assessed_at"))])
        given = value.get("confirmed")
        confirmed = {word for word in given if isinstance(word, str)} if isinstance(given, list) else ()
        return self._known(organisation, reference, at, corrects, frozenset(confirmed))

    def _known(
        self, organisation: str, reference: str, at: datetime, corrects: str | None, confirmed: frozenset[str]
    ) -> Known:
        found = self.table.find(organisation, reference)
        if found is None:
            if corrects is not None:
                raise _nothing_to_correct(corrects)
            return Known(organisation, reference, at, None, confirmed, None, None, ())
        position, latest = found
        state: EpisodeState | None = latest
        following: tuple[Part, ...] = ()
        if corrects is not None or at < latest.last_at:
            parts = tuple(one.part for one in self.table.parts(organisation, reference))
            _require_correctable(parts, corrects)
            if corrects is not None:
                _require_events_heard(parts, at, corrects)
            counting = _without(parts, corrects)
            state = refold([part for part in counting if part.at <= at], self.pathway.kept)
            following = tuple(in_order(part for part in counting if part.at > at))
        if state is not None and state.closed_on is not None and day_of(at) >= state.closed_on:
            raise closed_episode(state, pointer("episode"))
        return Known(organisation, reference, at, corrects, confirmed, state, position, following)

    def completing(self, known: Known, *, form: bool = False) -> Completion | None:
        """Fills in what is known; None before the first contact. In a `form` answers may still come."""
        if known.state is None:
            return None
        completion = Completion(known.state, self.pathway, day_of(known.at), known.confirmed, form)
        if known.following:
            completion.findings.append(
                Diagnostic(
                    "later-contacts",
                    f"The episode has {len(known.following)} later contacts or events; this one comes first.",
                    "Decisions that were made later stay as they are; look whether they still hold.",
                    pointer("assessed_at"),
                    severity="warning",
                )
            )
        return completion

    def after(self, known: Known, part: Part) -> EpisodeState:
        """The state of the episode with one more part."""
        state = fold(known.state, part, self.pathway.kept)
        for later in known.following:
            state = fold(state, later, self.pathway.kept)
        if state is None:
            raise AssertionError("an episode with a contact has a state")
        return state

    def changing(self, known: Known, part: Part, state: EpisodeState) -> Also:
        """Keeps the part and the state together with their entry."""
        days = self.attention.days(state)
        change = EpisodeChange(known.organisation, known.reference, known.last_position, part, state, days)
        return self.table.changing(change)

    def flags(
        self, state: EpisodeState, day: date, calendar: WorkingCalendar, sides: Sequence[Side] | None = None
    ) -> dict[Side, tuple[Flag, ...]]:
        """What is to be seen to, leg by leg; nothing once the episode is closed."""
        if state.closed_on is not None:
            return {}
        return {
            side: self.watch.flags(leg, day, calendar)
            for side, leg in state.limbs.items()
            if sides is None or side in sides
        }

    def rebuild(self, store: EntryStore) -> int:
        """Work out all episodes anew from the log alone, and keep them instead; how many."""
        return self.table.replace_all(self.rebuilt(store))

    def rebuilt(self, store: EntryStore) -> Iterator[RebuiltEpisode]:
        """Every episode as the log has it."""
        found: dict[tuple[str, str], list[FoundPart]] = {}
        for entry in store.entries_from(0, store.head().size):
            if entry.kind not in ("decision", "episode_event"):
                continue
            part = part_of_record(orjson.loads(entry.data))
            if part is not None:
                found.setdefault(part[:2], []).append(FoundPart(entry.position, part[2]))
        for (organisation, reference), parts in found.items():
            state = refold([one.part for one in parts], self.pathway.kept)
            if state is not None:
                yield RebuiltEpisode(organisation, reference, state, parts, self.attention.days(state))


def episode_record(
    episodes: Episodes,
    known: Known,
    completion: Completion | None,
    decision: Decision,
    part: Part,
    calendar: WorkingCalendar,
) -> dict[str, Any]:
    """The member `episode` of a decision record: what was filled in, what was lifted since the last decision,
    and what is to be seen to. Texts, whole numbers, members in the order of their names."""
    before = known.state
    after = fold(before, part, episodes.pathway.kept)
    flags = {} if after is None else episodes.flags(after, decision.assessment.assessed_on, calendar)
    return {
        "completed": [filled_record(one) for one in (completion.filled if completion else ())],
        "contacts_before": before.contacts if before else 0,
        "corrects": known.corrects,
        "last_contact": before.last_contact if before else None,
        "lifted_since": {side: _lifted(before, decision, side) for side in sorted(decision.limbs)},
        "pathway": {"digest": episodes.pathway.digest, "version": episodes.pathway.version},
        "reference": known.reference,
        "watch": watch_record(flags),
    }


def filled_record(one: Filled) -> dict[str, Any]:
    """One answer that was filled in."""
    return {
        "entry": one.entry,
        "input": one.input,
        "instead_of": one.instead_of,
        "on": one.on.isoformat(),
        "scope": one.scope,
        "value": one.value,
    }


def watch_record(flags: Mapping[Side, Sequence[Flag]]) -> list[dict[str, Any]]:
    """Flags as they are answered, the left leg first."""
    return [
        {
            "action": flag.watch.action,
            "because": flag.watch.rule.because,
            "due_on": flag.due_on.isoformat(),
            "limb": side,
            "rule": flag.watch.rule.id,
            "sources": flag.watch.rule.sources,
            "state": "applies" if flag.applies else "undetermined",
            "title": flag.watch.rule.title,
        }
        for side in sorted(flags)
        for flag in flags[side]
    ]


def _lifted(before: EpisodeState | None, decision: Decision, side: Side) -> list[dict[str, Any]]:
    """The limits that held a leg at its last decision and hold it no longer."""
    leg = before.limbs.get(side) if before else None
    if leg is None:
        return []
    held = {one.rule for one in decision.limbs[side].limits}
    return [
        {"rule": one.rule, "tier": one.tier, "until": one.until} for one in leg.limits if one.rule not in held
    ]


def _moment(value: Any) -> datetime | None:
    try:
        found = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        return None
    return found.astimezone(UTC) if found is not None and found.tzinfo is not None else None


def _without(parts: Sequence[Part], corrects: str | None) -> list[Part]:
    """The parts that count once one of them is corrected."""
    gone = {part.corrects for part in parts} | {corrects}
    return [replace(part, corrects=None) for part in parts if part.id not in gone]


def _require_correctable(parts: Sequence[Part], corrects: str | None) -> None:
    if corrects is None:
        return
    named = next((part for part in parts if part.id == corrects), None)
    if not isinstance(named, Contact):
        raise _nothing_to_correct(corrects)
    again = next((part for part in parts if part.corrects == corrects), None)
    if again is not None:
        message = f"The decision was corrected before, by {again.id}."
        advice = "Correct that one, if it is wrong too."
        raise InvalidAssessment([Diagnostic("corrected-before", message, advice, pointer("corrects"))])


def _require_events_heard(parts: Sequence[Part], at: datetime, corrects: str) -> None:
    """A contact at `at` in the place of another leaves no event before the first contact."""
    contact = Contact("", at, day_of(at), "", {}, {}, corrects)
    if before_first_contact([*parts, contact]) - before_first_contact(parts):
        raise events_unheard()


def events_unheard() -> InvalidAssessment:
    """The refusal of a correction after which events would come before the first contact."""
    message = "Events of the episode would come before its first contact, and count no longer."
    advice = "Take them back first (`entered_in_error`), and answer what they brought with a contact."
    return InvalidAssessment([Diagnostic("before-first-contact", message, advice, pointer("corrects"))])


def _nothing_to_correct(corrects: str) -> InvalidAssessment:
    message = f"The episode has no decision {corrects}."
    advice = "Give the id of a decision of this episode."
    return InvalidAssessment([Diagnostic("unknown-decision", message, advice, pointer("corrects"))])


def closed_episode(state: EpisodeState, where: str) -> InvalidAssessment:
    """The refusal of what happens on or after the day on which an episode was closed."""
    words = {"healed": "healed", "died": "the person died", "moved_away": "the person moved away"}
    message = (
        f"The episode was closed on {state.closed_on}: {words.get(str(state.closed_as), state.closed_as)}."
    )
    advice = "Begin a new episode under another reference, or take the closing event back."
    return InvalidAssessment([Diagnostic("episode-closed", message, advice, where)])
