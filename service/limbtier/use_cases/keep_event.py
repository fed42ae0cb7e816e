"""Keeps events of episodes: read, checked against the episode, in the log, and only then answered."""

from __future__ import annotations

import asyncio
from datetime import datetime
from typing import Any

from limbtier.audit.log import Log
from limbtier.domain.caller import Caller
from limbtier.domain.entry import Entry, Retry
from limbtier.domain.episode_fold import before_first_contact, fold, refold
from limbtier.domain.episode_state import (
    CLOSING,
    Answered,
    Contact,
    EpisodeEvent,
    EpisodeState,
    Keeping,
    Part,
)
from limbtier.engine.arterial_test import hides_result
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.diagnostics import Diagnostic, pointer
from limbtier.foundation.errors import InvalidAssessment, NotFound, RetryKeyReused
from limbtier.foundation.strict_json import read_json
from limbtier.store.entries import RetryKeyTaken, StoredEntry
from limbtier.store.episodes import EpisodeChange, EpisodeMoved
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.episode_turns import MOST_TRIES, EpisodeTurns
from limbtier.use_cases.episodes import Episodes, closed_episode, events_unheard
from limbtier.use_cases.event_request import EventReader
from limbtier.use_cases.retries import RequestsInProgress, answered_before, retry_of


class EventKeeper:
    """Keeps events for callers, and lets each send a request again safely. One for an application."""

    def __init__(self, decider: Decider, log: Log, episodes: Episodes, turns: EpisodeTurns) -> None:
        self._decider = decider
        self._log = log
        self._episodes = episodes
        self._turns = turns
        self._in_progress = RequestsInProgress()

    async def keep(self, reference: str, body: bytes, caller: Caller, key: str | None) -> tuple[str, bytes]:
        """The id and the record of an event of an episode, which is in the log. With a `key` that this caller
        used before, the one that was answered then.

        Raises NotJson, InvalidAssessment, NotFound, StoreUnavailable, RequestInProgress or RetryKeyReused.
        """
        if key is None:
            entry = await self._kept(reference, body, caller, None)
            return entry.id, entry.data
        retry = retry_of(caller, key, body)
        with self._in_progress.claimed(retry):
            before = await self._before(reference, retry)
            if before is None:
                try:
                    entry = await self._kept(reference, body, caller, retry)
                except RetryKeyTaken:  # by another worker, meanwhile
                    before = await self._before(reference, retry)
                    if before is None:
                        raise
                else:
                    return entry.id, entry.data
            return before.id, before.data

    async def _before(self, reference: str, retry: Retry) -> StoredEntry | None:
        loop = asyncio.get_running_loop()
        found = await loop.run_in_executor(None, answered_before, self._log.store, retry)
        if found is not None and read_json(found.data).get("episode") != reference:
            message = "This key was used for another request."
            advice = "Use a new key for each new request."
            raise RetryKeyReused([Diagnostic("idempotency-key-reused", message, advice)])
        return found

    async def _kept(self, reference: str, body: bytes, caller: Caller, retry: Retry | None) -> Entry:
        value = read_json(body)
        loop = asyncio.get_running_loop()
        async with self._turns.turn(caller.organisation, reference):
            for left in reversed(range(MOST_TRIES)):
                entry = await loop.run_in_executor(None, self._entry, reference, value, body, caller, retry)
                try:
                    await self._log.append_soon(entry)
                except EpisodeMoved:
                    if not left:
                        raise
                else:
                    return entry
        raise AssertionError("the last try returns or raises")

    def _entry(self, reference: str, value: Any, body: bytes, caller: Caller, retry: Retry | None) -> Entry:
        """The event as an entry that changes its episode with it."""
        table, keeping = self._episodes.table, self._episodes.pathway.kept
        found = table.find(caller.organisation, reference)
        if found is None:
            raise unknown_episode()
        now = self._episodes.clock()
        prepared = self._decider.rules.edition(None, now)
        if prepared is None:
            message = "No edition is in force."
            advice = "Tell whoever runs the service."
            raise InvalidAssessment([Diagnostic("no-edition-in-force", message, advice)])
        event = EventReader(prepared, self._episodes.pathway, now).read(value, self._decider.new_id())
        state: EpisodeState | None
        if event.at < found.state.last_at or event.corrects is not None:
            parts = [one.part for one in table.parts(caller.organisation, reference)]
            _require_named(parts, event)
            state = refold([*parts, event], keeping)
            if state is None:
                message = "Nothing would be left of the episode."
                advice = "Send the decision as it should have been, with `corrects`."
                raise InvalidAssessment([Diagnostic("nothing-left", message, advice, pointer("corrects"))])
            _require_heard(parts, event)
            gone = {part.corrects for part in parts} | {event.corrects}
            contacts = (part for part in parts if isinstance(part, Contact) and part.id not in gone)
            later = any(part.at > event.at for part in contacts)
            corrected = refold([*parts, _removal(event)], keeping) if event.corrects else found.state
            _require_fits(corrected or found.state, event, later=later)
            _require_result(corrected or found.state, event, keeping)
        else:
            _require_fits(found.state, event, later=False)
            _require_result(found.state, event, keeping)
            state = fold(found.state, event, keeping)
        if state is None:
            raise AssertionError("an episode with a contact has a state")
        change = EpisodeChange(
            caller.organisation,
            reference,
            found.last_position,
            event,
            state,
            self._episodes.attention.days(state),
        )
        record = event_record(event, reference, value, body, caller, now, prepared.edition.id)
        return Entry(
            "episode_event",
            event.id,
            caller.organisation,
            now,
            canonical(record),
            retry=retry,
            also=table.changing(change),
        )


def unknown_episode() -> NotFound:
    """An episode that is not there, or is another organisation's: both are answered alike."""
    message = "There is no such episode."
    advice = "Compare the reference; an episode begins with its first decision."
    return NotFound([Diagnostic("unknown-episode", message, advice)])


def _removal(event: EpisodeEvent) -> EpisodeEvent:
    """The event as one that only takes back what it corrects."""
    return EpisodeEvent(event.id, "entered_in_error", event.at, event.on, corrects=event.corrects)


def _require_named(parts: list[Part], event: EpisodeEvent) -> None:
    """What an event corrects is an event of the episode, or a decision that was entered in error."""
    if event.corrects is None:
        return
    named = next((part for part in parts if part.id == event.corrects), None)
    if named is None or (isinstance(named, Contact) and event.kind != "entered_in_error"):
        message = f"The episode has no event {event.corrects}."
        advice = "Give the id of an event of this episode; a decision is corrected by a decision, or was "
        advice += "`entered_in_error`."
        raise InvalidAssessment([Diagnostic("unknown-decision", message, advice, pointer("corrects"))])
    if any(part.corrects == event.corrects for part in parts):
        message = "It was corrected before."
        advice = "Correct what took its place."
        raise InvalidAssessment([Diagnostic("corrected-before", message, advice, pointer("corrects"))])


def _require_heard(parts: list[Part], event: EpisodeEvent) -> None:
    """The event comes after the first contact, and leaves none before it: there it would change nothing, and
    a result that it brought would be forgotten."""
    lost = before_first_contact([*parts, event])
    if event.id in lost:
        message = "It happened before the first contact."
        advice = "Check the day and the time. What was known by the first contact is answered with it."
        where = pointer("time" if event.on >= min(part.on for part in parts) else "happened_on")
        raise InvalidAssessment([Diagnostic("before-first-contact", message, advice, where)])
    if lost - before_first_contact(parts):
        raise events_unheard()


def _require_fits(state: EpisodeState, event: EpisodeEvent, *, later: bool) -> None:
    """The event fits the episode, `state` being without what it corrects."""
    where = pointer("happened_on")
    if event.kind == "entered_in_error":
        return
    if event.on < state.opened_on:
        message = f"`happened_on` is {event.on}, before the first contact on {state.opened_on}."
        raise InvalidAssessment([Diagnostic("before-first-contact", message, "Check the day.", where)])
    if state.closed_on is not None and event.on >= state.closed_on:
        raise closed_episode(state, where)
    if event.kind in CLOSING and later:
        message = "The episode has contacts after that day."
        advice = "Check the day, or correct the later decisions first."
        raise InvalidAssessment([Diagnostic("later-contacts", message, advice, where)])
    if event.limb is not None and event.limb not in state.limbs:
        message = f"The {event.limb} leg was not assessed in this episode."
        advice = "Give the other leg, or assess this one first."
        raise InvalidAssessment([Diagnostic("no-limb", message, advice, pointer("limb"))])


def _require_result(state: EpisodeState, event: EpisodeEvent, keeping: Keeping) -> None:
    """A test that came between contacts hides no result; at a contact somebody can confirm it."""
    leg = state.limbs.get(event.limb) if event.limb else None
    given = {**event.person, **event.limb_answers}
    for group in keeping:
        held_on = group.kept_on(leg.kept) if leg is not None and group.measured(given) else None
        if leg is None or held_on is None or group.day(given, event.on) < held_on:
            continue
        if not hides_result(group, leg.kept, given):
            continue
        message = "The test comes to no ratio, or its day is not known; the result that there is would count "
        message += "no longer."
        advice = "Give what is missing, or answer the test at the next contact."
        where = pointer("answers", "abpi_availability")
        raise InvalidAssessment([Diagnostic("hides-result", message, advice, where)])


def event_record(
    event: EpisodeEvent,
    reference: str,
    value: Any,
    body: bytes,
    caller: Caller,
    now: datetime,
    edition: str,
) -> dict[str, Any]:
    """The event as it is answered and logged."""
    return {
        "at": now.isoformat(),
        "caller": {"id": caller.id, "organisation": caller.organisation},
        "edition": edition,
        "episode": reference,
        "event": {
            "answers": _plain(event.limb_answers),
            "arrangement": event.arrangement,
            "corrects": event.corrects,
            "happened_on": event.on.isoformat(),
            "kind": event.kind,
            "limb": event.limb,
            "person": _plain(event.person),
            "reason": event.reason,
            "tier": event.tier,
            "time": value.get("time"),
        },
        "id": event.id,
        "kind": "episode_event",
        "placed_at": event.at.isoformat(),
        "received": body.decode(),
    }


def _plain(answers: Answered) -> list[dict[str, str | tuple[str, ...]]]:
    return [{"input": name, "value": value} for name, value in sorted(answers.items())]
