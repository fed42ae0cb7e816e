"""The state of an episode as a fold over its parts, in the order in which they happened."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import takewhile

from limbtier.domain.assessment import Side
from limbtier.domain.episode_state import (
    CLOSING,
    Answered,
    Arrangement,
    Contact,
    EpisodeEvent,
    EpisodeState,
    Given,
    Keeping,
    KeptGroup,
    LimbContact,
    LimbState,
    Part,
    Stored,
    rank,
)


def refold(arrived: Sequence[Part], keeping: Keeping) -> EpisodeState | None:
    """The state after parts that stand in the order in which they arrived; None when none of them counts.

    A part that another corrects counts as if it had never been, for good. Of parts of the same moment, the
    one that arrived first happened first.
    """
    state: EpisodeState | None = None
    for part in in_order(arrived):
        state = fold(state, part, keeping)
    return state


def in_order(arrived: Iterable[Part]) -> list[Part]:
    """The parts that count, in the order in which they happened."""
    parts = list(arrived)
    corrected = {part.corrects for part in parts}
    return sorted((part for part in parts if part.id not in corrected), key=lambda part: part.at)


def before_first_contact(arrived: Iterable[Part]) -> frozenset[str]:
    """Ids of the events that count but change nothing, because they happened before the first contact. One
    that only takes something back has nothing to lose."""
    early = takewhile(lambda part: isinstance(part, EpisodeEvent), in_order(arrived))
    return frozenset(
        part.id for part in early if isinstance(part, EpisodeEvent) and part.kind != "entered_in_error"
    )


def fold(state: EpisodeState | None, part: Part, keeping: Keeping) -> EpisodeState | None:
    """The state after one more part, which happened last. An event before any contact changes nothing."""
    if isinstance(part, EpisodeEvent):
        return None if state is None else _event(state, part, keeping)
    limbs: dict[Side, LimbState] = dict(state.limbs) if state else {}
    for side, limb in part.limbs.items():
        limbs[side] = _limb(limbs.get(side), part, limb, keeping)
    return EpisodeState(
        opened_on=min(part.on, state.opened_on) if state else part.on,
        calendar=part.calendar,
        last_at=part.at,
        last_contact=part.id,
        contacts=state.contacts + 1 if state else 1,
        events=state.events if state else 0,
        limbs=limbs,
        kept=_kept(state.kept if state else {}, part.person, None, keeping, part.on, part.id),
        closed_on=state.closed_on if state else None,
        closed_as=state.closed_as if state else None,
    )


def _limb(before: LimbState | None, contact: Contact, limb: LimbContact, keeping: Keeping) -> LimbState:
    """The leg after a contact."""
    day, entry, answers = contact.on, contact.id, limb.answers
    leg = before or LimbState(day, day, None, "")
    late = leg.review_due_on is not None and day > leg.review_due_on and not leg.review_counted
    area = _area(limb, leg, day, entry)
    girths = _given(answers, "girth_series_cm", day, entry)
    progress = _given(answers, "progress", day, entry)
    first = min(day, _day(answers, "first_contact_on") or day)
    earlier = first < leg.first_contact_on or not leg.first_contact_entry
    leg = replace(
        leg,
        first_contact_on=min(first, leg.first_contact_on),
        first_contact_entry=entry if earlier else leg.first_contact_entry,
        last_contact_on=day,
        review_due_on=limb.review_due_on,
        review_counted=False,
        missed_reviews=leg.missed_reviews + late,
        disposition=limb.disposition,
        last_area=area or leg.last_area,
        last_girths=girths or leg.last_girths,
        last_ankle=_given(answers, "ankle_girth_cm", day, entry) or leg.last_ankle,
        last_calf=_given(answers, "calf_girth_cm", day, entry) or leg.last_calf,
        wound=_given(answers, "wound", day, entry) or leg.wound,
        progress=progress or leg.progress,
        better_on=day if progress and progress.value == "better" else leg.better_on,
        start_area=leg.start_area or _given(answers, "start_wound_area_cm2", day, entry),
        start_girths=leg.start_girths or _given(answers, "start_girth_series_cm", day, entry),
        limits=limb.limits,
        arrangements=_arrangements(leg.arrangements, limb, day, entry),
        kept=_kept(leg.kept, answers, contact.person, keeping, day, entry),
    )
    return _decided(_arrived(leg, limb, entry), limb, day, entry, area, girths)


def _arrived(leg: LimbState, limb: LimbContact, entry: str) -> LimbState:
    """The leg as it was found, before anything was decided."""
    found, answers = limb.on_arrival, limb.answers
    started, since = _day(answers, "compression_started_on"), _day(answers, "current_tier_since")
    if found is None or found == leg.tier:
        return replace(
            leg,
            tier_since=since or leg.tier_since,
            started_on=leg.started_on or started,
            started_entry=leg.started_entry or (entry if started else ""),
        )
    leg = replace(leg, tier=found, tier_since=since, tier_entry=entry, unsettled_on=None)
    if found == "none":  # whatever was decided was never put on
        return replace(leg, started_on=None, started_entry="", start_area=None, start_girths=None)
    if leg.started_on is None and started is not None:
        return replace(leg, started_on=started, started_entry=entry)
    return leg


def _decided(
    leg: LimbState, limb: LimbContact, day: date, entry: str, area: Given | None, girths: Given | None
) -> LimbState:
    """The leg as it was left. Where a decision waits for answers, nothing is known to have changed."""
    again = leg.support_on == day
    if limb.tier == "support":
        leg = replace(leg, support_decisions=leg.support_decisions + (not again), support_on=day)
    elif not (again and limb.disposition == "cannot_decide_yet"):
        leg = replace(leg, support_decisions=0, support_on=None)
    if limb.disposition == "cannot_decide_yet":
        return replace(leg, unsettled_on=day)
    before, after = rank(leg.tier), rank(limb.tier)
    drops = limb.disposition in ("step_down", "stop_and_escalate") and after < before
    leg = replace(leg, unsettled_on=None, tier_drops=leg.tier_drops + drops)
    if after == 0:
        stopped = limb.disposition == "stop_and_escalate" or leg.started_on is not None
        tier = "withhold" if stopped or leg.tier == "withhold" else "none"
        return replace(leg, tier=tier, tier_since=None, tier_entry=entry)
    if limb.tier == leg.tier:
        return leg
    if before == 0 and leg.started_on is None:
        leg = replace(
            leg,
            started_on=day,
            started_entry=entry,
            start_area=leg.start_area or _of_a_wound(area),
            start_girths=leg.start_girths or girths,
        )
    return replace(leg, tier=limb.tier, tier_since=day, tier_entry=entry)


def _area(limb: LimbContact, leg: LimbState, day: date, entry: str) -> Given | None:
    """The area of the wound at a contact; a wound that has gone has none left."""
    if limb.answers.get("wound") == "none":
        return Given("0", day, entry) if leg.last_area else None
    return None if limb.area_cm2 is None else Given(limb.area_cm2, day, entry)


def _of_a_wound(area: Given | None) -> Given | None:
    """An area to compare later ones with; a wound that had gone has none."""
    return None if area is None or area.value == "0" else area


def _arrangements(
    before: Mapping[str, Arrangement], limb: LimbContact, day: date, entry: str
) -> dict[str, Arrangement]:
    """What is arranged. What a decision no longer asks for is settled by it; asked for again while open, it
    keeps its earliest day; asked for again after an event said that it was done, it stays done."""
    asked = {one.what: one.due_on for one in limb.arranged}
    found = dict(before)
    for what, known in before.items():
        if what in asked:
            continue
        if known.settled_on is None:
            found[what] = replace(known, settled_on=day, settled_by=entry)
        elif known.by_event:
            found[what] = replace(known, by_event=False)
    for what, due_on in asked.items():
        open_now = found.get(what)
        if open_now is None or (open_now.settled_on is not None and not open_now.by_event):
            found[what] = Arrangement(day, due_on, entry)
        elif open_now.settled_on is None:
            found[what] = replace(open_now, due_on=min(open_now.due_on, due_on))
    return found


def _kept(
    before: Mapping[str, Given],
    answers: Answered,
    person: Answered | None,
    keeping: Keeping,
    day: date,
    entry: str,
    measured_on: date | None = None,
) -> dict[str, Given]:
    """Answers kept after some more were given. A measurement is kept with the leg, as a whole, with what it
    needs of the `person`; None for the answers of the person themselves. `measured_on` is the day of
    measurements that have none of their own, where it is not that on which they were given."""
    found = dict(before)
    for group in keeping:
        if not group.measured_by:
            found.update({name: Given(answers[name], day, entry) for name in group.inputs if name in answers})
        elif person is not None:
            everything = {**person, **answers}
            given = {name: everything[name] for name in group.inputs if name in everything}
            on = day if group.dated_by or measured_on is None else measured_on
            if group.measured(given) and not _older(group, given, found, on):
                for name in group.inputs:
                    found.pop(name, None)
                found.update({name: Given(value, on, entry) for name, value in given.items()})
    return found


def _older(group: KeptGroup, given: Answered, kept: Mapping[str, Given], day: date) -> bool:
    """Whether a measurement is of an earlier day than the one that is kept."""
    held = group.kept_on(kept)
    return held is not None and group.day(given, day) < held


def _event(state: EpisodeState, event: EpisodeEvent, keeping: Keeping) -> EpisodeState:
    """The state after an event."""
    day, entry = event.on, event.id
    limbs = {
        side: _event_of_limb(leg, event, keeping) if event.limb in (None, side) else leg
        for side, leg in state.limbs.items()
    }
    closing = event.kind in CLOSING and state.closed_on is None
    return replace(
        state,
        last_at=event.at,
        events=state.events + 1,
        limbs=limbs,
        kept=_kept(state.kept, event.person, None, keeping, day, entry),
        closed_on=day if closing else state.closed_on,
        closed_as=event.kind if closing else state.closed_as,
    )


def _event_of_limb(leg: LimbState, event: EpisodeEvent, keeping: Keeping) -> LimbState:
    day, entry = event.on, event.id
    if event.limb is not None and (event.limb_answers or event.person):
        # What came in one result was measured on one day: a toe pressure has no day of its own.
        tested = [_day(event.limb_answers, group.dated_by) for group in keeping if group.dated_by]
        measured_on = next((one for one in tested if one is not None), None)
        kept = _kept(leg.kept, event.limb_answers, event.person, keeping, day, entry, measured_on)
        leg = replace(leg, kept=kept)
    match event.kind:
        case "compression_removed":
            return replace(leg, tier="withhold", tier_since=None, tier_entry=entry, unsettled_on=None)
        case "compression_applied":
            return _applied(leg, event)
        case "review_missed":
            missed = leg.missed_reviews + (not leg.review_counted)
            return replace(leg, missed_reviews=missed, review_counted=True)
        case "referral_accepted" | "arrangement_done":
            what = event.arrangement or ""
            known = leg.arrangements.get(what)
            if known is not None and known.settled_on is None:
                settled = replace(known, settled_on=day, settled_by=entry, by_event=True)
                return replace(leg, arrangements={**leg.arrangements, what: settled})
    return leg


def _applied(leg: LimbState, event: EpisodeEvent) -> LimbState:
    """The leg after somebody put a tier on it."""
    if leg.started_on is None:
        leg = replace(
            leg,
            started_on=event.on,
            started_entry=event.id,
            start_area=leg.start_area or _of_a_wound(leg.last_area),
            start_girths=leg.start_girths or leg.last_girths,
        )
    since = leg.tier_since if leg.tier == event.tier and leg.unsettled_on is None else event.on
    return replace(leg, tier=event.tier, tier_since=since, tier_entry=event.id, unsettled_on=None)


def _given(answers: Answered, name: str, day: date, entry: str) -> Given | None:
    value: Stored | None = answers.get(name)
    return None if value is None else Given(value, day, entry)


def _day(answers: Answered, name: str) -> date | None:
    value = answers.get(name)
    return date.fromisoformat(value) if isinstance(value, str) and value != "not_done" else None
