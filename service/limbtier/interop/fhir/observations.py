"""Reads measurements from Observations, by the code map of the site."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

from limbtier.domain.assessment import SIDES, Side, day_of
from limbtier.domain.code_map import CodedInput, CodeMap, Coding
from limbtier.domain.vocabulary import Input, Vocabulary
from limbtier.foundation.answer_states import NOT_DONE
from limbtier.interop.fhir.elements import (
    ELEMENT,
    RESOURCE,
    Faults,
    Json,
    Steps,
    check_elements,
    codings_of,
    objects,
    shown,
    text_of,
)
from limbtier.interop.fhir.response import Given
from limbtier.interop.fhir.units import read_quantity

_VALUED: Final = frozenset({"code", "valueQuantity", "dataAbsentReason"})
_READ: Final = _VALUED | {
    "resourceType",
    "status",
    "bodySite",
    "method",
    "subject",
    "effectiveDateTime",
    "effectiveInstant",
    "component",
}
_IGNORED: Final = RESOURCE | {
    "contained",
    "identifier",
    "basedOn",
    "partOf",
    "category",
    "encounter",
    "issued",
    "performer",
    "interpretation",
    "note",
    "specimen",
    "device",
    "referenceRange",
    "hasMember",
    "derivedFrom",
}
_FINAL: Final = ("final", "amended", "corrected")
_NOT_PERFORMED: Final = ("http://terminology.hl7.org/CodeSystem/data-absent-reason", "not-performed")
_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")
_MOMENT: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:.]+(Z|[+-][0-9]{2}:[0-9]{2})\Z")


@dataclass(frozen=True, slots=True)
class Contact:
    """What an observation must agree with: whom the contact is about, and its day, where they are known."""

    episode: str | None
    day: date | None


class ObservationReader:
    """Adds the values of observations to the answers of a questionnaire response."""

    def __init__(
        self,
        code_map: CodeMap,
        vocabulary: Vocabulary,
        contact: Contact,
        given: Given,
        faults: Faults,
    ) -> None:
        self._map = code_map
        self._inputs = vocabulary.inputs
        self._contact = contact
        self._given = given
        self._faults = faults
        self.notes: list[tuple[str, Steps]] = []
        """What a reader of the answer must know: conversions, and components that were not read."""

    def read(self, observation: Json, steps: Steps) -> None:
        """One observation and its components. Its subject was read already."""
        faults = self._faults
        check_elements(observation, _READ, _IGNORED, steps, faults)
        status = text_of(observation, "status", steps, faults)
        if status not in _FINAL:
            message = f"The observation is `{shown(status)}`." if status else "The observation has no status."
            advice = "Send observations that are final, amended or corrected."
            faults.add("status-not-taken", message, advice, (*steps, "status"))
        day = self._day(observation, steps)
        components = objects(observation, "component", steps, faults)
        parts = [(observation, steps)] if self._has_value(observation) or not components else []
        known = 0
        for part, where in [*parts, *components]:
            if part is not observation:
                check_elements(part, _VALUED, ELEMENT | {"interpretation", "referenceRange"}, where, faults)
            entries = self._entries(part)
            if not entries and components:
                self.notes.append(
                    ("This part of the observation is not in the code map and was not read.", where)
                )
                continue
            known += 1
            self._answer(part, where, observation, steps, entries, day)
        if components and not known:
            self._not_mapped(observation, steps)

    @staticmethod
    def _has_value(part: Json) -> bool:
        return any(name.startswith("value") or name == "dataAbsentReason" for name in part)

    def _entries(self, part: Json) -> list[CodedInput]:
        codes = codings_of(part.get("code"))
        return [
            one
            for one in self._map.observations
            if one.input in self._inputs and (one.code.system, one.code.code) in codes
        ]

    def _not_mapped(self, part: Json, steps: Steps) -> None:
        codes = ", ".join(shown(f"{system}|{code}") for system, code in codings_of(part.get("code"))[:3])
        message = f"No input is answered by the code {codes}." if codes else "It has no code with a system."
        advice = "Leave the observation out, or ask the site to add its code to the code map."
        self._faults.add("code-not-mapped", message, advice, (*steps, "code"))

    def _answer(
        self,
        part: Json,
        where: Steps,
        observation: Json,
        steps: Steps,
        entries: list[CodedInput],
        day: date | None,
    ) -> None:
        if not entries:
            self._not_mapped(part, where)
            return
        sites = codings_of(observation.get("bodySite"))
        methods = codings_of(observation.get("method"))
        meeting = [one for one in entries if _is(one.body_site, sites) and _is(one.method, methods)]
        if not meeting:
            self._terms(entries, steps)
            return
        targets: set[tuple[str, ...]] = set()
        for one in meeting:
            entry = self._inputs[one.input]
            place = self._place(entry, sites, steps)
            if place is not None:
                targets.add((*place, entry.name))
        if len(targets) > 1:
            message = "The observation's codes stand for more than one input."
            self._faults.add("conflicting-answers", message, "Send one code.", (*where, "code"))
        for target in targets if len(targets) == 1 else ():
            entry = self._inputs[target[-1]]
            self._compare_days(next(one for one in meeting if one.input == entry.name), target, day, steps)
            self._put(part, entry, target, where)

    def _terms(self, entries: list[CodedInput], steps: Steps) -> None:
        wanted = " or ".join(
            " and ".join(
                f"{name} {coding.system}|{coding.code}"
                for name, coding in (("body site", one.body_site), ("method", one.method))
                if coding is not None
            )
            for one in entries
        )
        message = "The code counts only together with a body site or a method that is not here."
        self._faults.add("code-not-mapped", message, f"The code map asks for {wanted}.", steps)

    def _place(self, entry: Input, sites: list[tuple[str, str]], steps: Steps) -> tuple[str, ...] | None:
        if entry.scope == "person":
            return ("person",)
        sides: set[Side] = set()
        for system, code in sites:
            side = self._map.body_sites.get(Coding(system, code))
            if side is not None:
                sides.add(side)
        if len(sides) == 1:
            return ("limbs", sides.pop())
        message = f"The body site does not say of which leg `{entry.name}` is."
        listed = " or ".join(
            f"{one.system}|{one.code} ({side})" for one, side in self._map.body_sites.items()
        )
        self._faults.add("side-not-known", message, f"Send as body site {listed}.", (*steps, "bodySite"))
        return None

    def _put(self, part: Json, entry: Input, target: tuple[str, ...], where: Steps) -> None:
        value = self._value(part, entry, where)
        if value is None:
            return
        answers = self._given.answers
        if target not in answers:
            self._given.put(target, value, where)
        elif not _same(answers[target], value):
            message = f"`{entry.name}` is answered here and elsewhere in the request, and not alike."
            self._faults.add("conflicting-answers", message, "Find out which is right.", where)

    def _value(self, part: Json, entry: Input, where: Steps) -> int | Decimal | str | None:
        values = [name for name in part if name.startswith("value")]
        if "dataAbsentReason" in part:
            if values:
                message = "There is a value, and a reason for its absence."
                self._faults.add("conflicting-answers", message, "Keep one of the two.", where)
            elif _NOT_PERFORMED in codings_of(part["dataAbsentReason"]) and entry.may_be_not_done:
                return NOT_DONE
            else:
                message = "The value is absent for a reason that is no answer."
                advice = "Leave the observation out; only `not-performed` says that it was not done."
                self._faults.add("value-absent", message, advice, (*where, "dataAbsentReason"))
            return None
        if values != ["valueQuantity"]:
            message = f"`{entry.name}` is a measurement and needs one quantity."
            self._faults.add("wrong-value-type", message, "Send `valueQuantity`.", where)
            return None
        read = read_quantity(part["valueQuantity"], entry, (*where, "valueQuantity"), self._faults)
        if read is None:
            return None
        number, told = read
        if told is not None:
            self.notes.append((f"`{entry.name}`: {told}", (*where, "valueQuantity")))
        return number

    def _day(self, observation: Json, steps: Steps) -> date | None:
        names = [name for name in ("effectiveDateTime", "effectiveInstant") if name in observation]
        written = observation[names[0]] if len(names) == 1 else None
        day: date | None = None
        if isinstance(written, str):
            try:
                if _DAY.match(written):
                    day = date.fromisoformat(written)
                elif _MOMENT.match(written):
                    day = day_of(datetime.fromisoformat(written))
            except (ValueError, OverflowError):
                day = None
        if day is None:
            message = "The observation does not say on which day it was made."
            advice = "Send `effectiveDateTime` with the whole date, or with time and offset."
            self._faults.add("missing-element", message, advice, (*steps, *names[:1]))
        return day

    def _compare_days(self, one: CodedInput, target: tuple[str, ...], day: date | None, steps: Steps) -> None:
        """A measurement counts on the day that the answers give for it; where they give none, on the day of
        the contact."""
        if day is None or self._contact.day is None:
            return
        said = _days(one, target, self._given.answers)
        if day.isoformat() in said or (not said and day == self._contact.day):
            return
        wanted = " or ".join(sorted(said)) if said else f"{self._contact.day}, the day of the contact"
        message = f"The observation was made on {day} and not on {wanted}."
        advice = "Leave it out, and measure anew."
        if one.dated_by is not None:
            advice = f"Answer `{one.dated_by}` of the leg with the day of the measurement, or leave it out."
        self._faults.add("observation-of-another-day", message, advice, steps)


def _days(one: CodedInput, target: tuple[str, ...], answers: Mapping[Steps, Any]) -> set[str]:
    """The days answered to the input that dates a measurement: of the leg, or of any leg for one of the
    person."""
    if one.dated_by is None:
        return set()
    places = [("limbs", side) for side in SIDES] if target[0] == "person" else [target[:-1]]
    found = (answers.get((*place, one.dated_by)) for place in places)
    return {day for day in found if isinstance(day, str) and day != NOT_DONE}


def _is(wanted: Coding | None, codings: list[tuple[str, str]]) -> bool:
    return wanted is None or (wanted.system, wanted.code) in codings


def _same(one: Any, other: Any) -> bool:
    """Whether two answers are one value: 27.50 cm is 27.5 cm, and a number is never the text of itself."""
    if isinstance(one, str) or isinstance(other, str):
        return type(one) is type(other) and bool(one == other)
    return bool(one == other)
