"""An event of an episode as it comes over HTTP, read strictly."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any, Final, cast

from limbtier.domain.assessment import SIDES, UNITED_KINGDOM, Side, day_of
from limbtier.domain.episode_state import TIERS, Answered, EpisodeEvent, EventKind, stored
from limbtier.domain.pathway import Pathway
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.answer_states import NOT_ASKED
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean, pointer
from limbtier.foundation.errors import InvalidAssessment

MISSED: Final = ("not_at_home", "cancelled_by_person", "cancelled_by_service", "not_known")
REMOVED: Final = ("not_tolerated", "slipped_or_soiled", "by_the_person", "by_another_service", "not_known")
DAY_PATTERN: Final = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
TIME_PATTERN: Final = "^([01][0-9]|2[0-3]):[0-5][0-9]$"
FIELDS: Final = (
    "kind",
    "happened_on",
    "time",
    "limb",
    "person",
    "answers",
    "tier",
    "reason",
    "arrangement",
    "corrects",
)


@dataclass(frozen=True, slots=True)
class Shape:
    """What an event of a kind takes beside its kind, day and time: fields needed, and fields allowed."""

    needs: tuple[str, ...] = ()
    takes: tuple[str, ...] = ("corrects",)


SHAPES: Final[Mapping[str, Shape]] = {
    "arterial_result_received": Shape(("limb", "answers"), ("limb", "answers", "person", "corrects")),
    "advice_given": Shape((), ("limb", "answers", "person", "corrects")),
    "referral_accepted": Shape(("arrangement",), ("arrangement", "limb", "corrects")),
    "arrangement_done": Shape(("arrangement",), ("arrangement", "limb", "corrects")),
    "review_missed": Shape(("reason",), ("reason", "limb", "corrects")),
    "compression_removed": Shape(("limb", "reason"), ("limb", "reason", "corrects")),
    "compression_applied": Shape(("limb", "tier"), ("limb", "tier", "corrects")),
    "healed": Shape(),
    "died": Shape(),
    "moved_away": Shape(),
    "entered_in_error": Shape(("corrects",)),
}
_ID: Final = re.compile(r"[0-9a-f-]{36}")
_TIME: Final = re.compile(TIME_PATTERN[1:-1])
_REASONS: Final[Mapping[str, tuple[str, ...]]] = {"review_missed": MISSED, "compression_removed": REMOVED}


class EventReader:
    """Reads events against an edition and a pathway. For one request."""

    def __init__(self, prepared: PreparedEdition, pathway: Pathway, now: datetime) -> None:
        self._prepared = prepared
        self._pathway = pathway
        self._now = now
        self._found: list[Diagnostic] = []

    def read(self, value: Any, event_id: str) -> EpisodeEvent:
        """The event. Raises InvalidAssessment that names every bad field at once."""
        if not isinstance(value, dict):
            message = "The event is no object."
            raise InvalidAssessment([Diagnostic("wrong-type", message, "Send one object.", "")])
        kind = self._word(value, "kind", tuple(SHAPES), required=True)
        shape = SHAPES.get(kind or "")
        self._refuse_others(value, kind, shape)
        day = self._day(value)
        at = self._at(value, day)
        limb = self._word(value, "limb", SIDES)
        tier = self._word(value, "tier", TIERS[1:])
        reason = self._word(value, "reason", _REASONS.get(kind or "", (*MISSED, *REMOVED)))
        arrangement = self._word(value, "arrangement", tuple(self._prepared.edition.arrangements))
        corrects = self._text(value, "corrects", _ID, "Give the id as it was answered.")
        person, answers = self._answers(value, kind, limb, day)
        if self._found or kind is None or day is None or at is None:
            raise InvalidAssessment(sorted(self._found, key=lambda item: item.pointer or ""))
        return EpisodeEvent(
            id=event_id,
            kind=cast("EventKind", kind),
            at=at,
            on=day,
            limb=cast("Side | None", limb),
            person=person,
            limb_answers=answers,
            tier=tier,
            reason=reason,
            arrangement=arrangement,
            corrects=corrects,
        )

    def _add(self, code: str, message: str, advice: str, *where: str) -> None:
        self._found.append(Diagnostic(code, message, advice, pointer(*where)))

    def _refuse_others(self, value: Mapping[str, Any], kind: str | None, shape: Shape | None) -> None:
        for name in value:
            if name not in FIELDS:
                shown = "".join(letter if letter.isprintable() else "?" for letter in name[:60])
                advice = did_you_mean(name[:60], FIELDS, "Leave it out.")
                self._add("unknown-field", f"There is no field `{shown}`.", advice, name)
            elif shape is not None and name not in ("kind", "happened_on", "time", *shape.takes):
                self._add("not-for-this-event", f"`{kind}` takes no `{name}`.", "Leave it out.", name)
        for name in shape.needs if shape is not None else ():
            if name not in value:
                self._add("missing-field", f"`{name}` is missing.", f"`{kind}` needs it.", name)

    def _word(
        self, value: Mapping[str, Any], name: str, words: Collection[str], *, required: bool = False
    ) -> str | None:
        if name not in value:
            if required:
                self._add(
                    "missing-field", f"`{name}` is missing.", "Give it; see the request's schema.", name
                )
            return None
        given = value[name]
        if not isinstance(given, str):
            self._add("wrong-type", f"`{name}` is no text.", "Give one of its words.", name)
        elif given not in words:
            advice = did_you_mean(given[:60], words, f"Use one of {', '.join(words)}.")
            self._add("unknown-choice", f"`{name}` is none of its choices.", advice, name)
        else:
            return given
        return None

    def _text(self, value: Mapping[str, Any], name: str, form: re.Pattern[str], advice: str) -> str | None:
        if name not in value:
            return None
        given = value[name]
        if not isinstance(given, str) or not form.fullmatch(given):
            self._add("bad-format", f"`{name}` has the wrong form.", advice, name)
            return None
        return given

    def _day(self, value: Mapping[str, Any]) -> date | None:
        name = "happened_on"
        if name not in value:
            self._add("missing-field", f"`{name}` is missing.", "Give the day on which it happened.", name)
            return None
        advice = "Write year-month-day, such as 2026-01-31."
        given = self._text(value, name, re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}"), advice)
        if given is None:
            return None
        try:
            day = date.fromisoformat(given)
        except ValueError:
            self._add("impossible-date", f"`{name}` is no date.", advice, name)
            return None
        if day > day_of(self._now):
            self._add("future-date", f"`{name}` lies in the future.", "Give today or a day before.", name)
            return None
        return day

    def _at(self, value: Mapping[str, Any], day: date | None) -> datetime | None:
        """Where the event stands among others: at its time; without one, now for an event of today, and else
        at the end of its day, after whatever happened on it."""
        given = self._text(value, "time", _TIME, "Write hour and minute, such as 14:30.")
        if day is None:
            return None
        if given is None:
            if day == day_of(self._now):
                return self._now.astimezone(UTC)
            return datetime.combine(day, time.max, UNITED_KINGDOM).astimezone(UTC)
        at = datetime.combine(day, time.fromisoformat(given), UNITED_KINGDOM).astimezone(UTC)
        if at > self._now:
            self._add("future-date", "`time` lies in the future.", "Give when it happened.", "time")
            return None
        return at

    def _answers(
        self, value: Mapping[str, Any], kind: str | None, limb: str | None, day: date | None
    ) -> tuple[Answered, Answered]:
        allowed = self._pathway.events.get(kind or "")
        if allowed is None:
            return {}, {}
        reader = self._prepared.answers
        found: dict[str, Answered] = {}
        for name, scope in (("person", "person"), ("answers", "limb")):
            given = value.get(name, {})
            if not isinstance(given, dict):
                self._add("wrong-type", f"`{name}` is no object.", "Give an object of answers.", name)
                given = {}
            read, problems = reader.read(given, scope, [name], day)  # type: ignore[arg-type]
            self._found += [one for one in problems if one.severity == "error"]
            for other in read.keys() - set(allowed.inputs):
                message = f"`{kind}` does not answer `{other}`."
                self._add("not-for-this-event", message, "Answer it with the next contact.", name, other)
            answers = dict(read)
            if scope == "limb":
                self._found += reader.complete(answers, "limb", {}, [name])
            found[name] = {one: stored(read[one]) for one in read if read[one] != NOT_ASKED}
        if not (found["person"] or found["answers"]) and not self._found:
            self._add("missing-field", f"`{kind}` answers nothing.", "Give what is known now.", "answers")
        if found["answers"] and limb is None and "limb" not in value:
            self._add("missing-field", "`limb` is missing.", "Say which leg the answers are about.", "limb")
        if kind == "arterial_result_received":
            self._require_measurement(found)
        return found["person"], found["answers"]

    def _require_measurement(self, found: Mapping[str, Answered]) -> None:
        """A result is a measurement that counts, with what says of which kind it is."""
        everything = {**found["person"], **found["answers"]}
        groups = [group for group in self._pathway.kept if group.measured_by]
        measured = [group for group in groups if group.measured(everything)]
        if not measured and not self._found:
            message = "The result holds no value that was measured."
            advice = "Give the pressures, or the ratio that was reported."
            self._add("missing-field", message, advice, "answers")
        ratio = any("abpi_availability" in group.inputs for group in measured)
        if ratio and "abpi_availability" not in everything:
            message = "`abpi_availability` is missing."
            advice = "Say whether the pressures were measured, or only the ratio was reported."
            self._add("missing-field", message, advice, "answers", "abpi_availability")
