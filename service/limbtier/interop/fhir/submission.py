"""A FHIR request as an assessment: the JSON that a plain caller sends, and where each answer came from."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from limbtier.domain.assessment import day_of
from limbtier.domain.code_map import CodeMap
from limbtier.domain.edition import Edition, active_edition
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean, pointer
from limbtier.foundation.errors import InvalidAssessment
from limbtier.interop.fhir.elements import Faults, Json, Steps, check_elements, shown, text_of
from limbtier.interop.fhir.envelope import open_envelope
from limbtier.interop.fhir.form import Form
from limbtier.interop.fhir.identifiers import Identifiers
from limbtier.interop.fhir.observations import Contact, ObservationReader
from limbtier.interop.fhir.privacy import episode_of, refuse_patient_numbers
from limbtier.interop.fhir.questionnaire import canonical
from limbtier.interop.fhir.response import IGNORED, READ, check_status, read_answers


@dataclass(frozen=True, slots=True)
class Mapped:
    """An assessment as JSON text. `notes` tell what was converted or passed over, each with its place in the
    request; `places` are the places of answers by their steps in the assessment."""

    assessment: bytes
    episode: str | None
    questionnaire: str
    notes: tuple[tuple[str, Steps], ...]
    places: Mapping[Steps, Steps]
    response_steps: Steps

    def found_at(self, finding: Diagnostic) -> Diagnostic:
        """A finding about the assessment, with the place in the request that it comes from."""
        steps = tuple(
            one.replace("~1", "/").replace("~0", "~") for one in (finding.pointer or "").split("/")[1:]
        )
        for length in range(len(steps), 0, -1):
            if steps[:length] in self.places:
                return replace(finding, pointer=pointer(*self.places[steps[:length]]))
        return replace(finding, pointer=pointer(*self.response_steps))


def map_submission(
    body: Any,
    editions: Mapping[str, Edition],
    forms: Mapping[str, Form],
    code_map: CodeMap,
    *,
    kept: bool,
) -> Mapped:
    """The assessment of a request. `forms` are by edition id; `kept` is False for a preview.

    Raises InvalidAssessment that names everything wrong with the request as a FHIR resource, by JSON
    pointers into it. Whether the answers themselves fit is for the reader of assessments to say.
    """
    names = Identifiers(code_map.base)
    faults = Faults()
    refuse_patient_numbers(body, (), faults)
    if len(faults):  # before any message could repeat one
        raise InvalidAssessment(faults.found)
    submission = open_envelope(body, faults)
    if submission is None:
        raise InvalidAssessment(faults.found)
    response, steps = submission.response, submission.response_steps
    check_elements(response, READ, IGNORED, steps, faults)
    check_status(response, steps, kept=kept, faults=faults)
    episode = episode_of(response, steps, names, faults)
    moment = _moment(text_of(response, "authored", steps, faults))
    if "authored" not in response:
        message = "The response does not say when it was written."
        advice = "Send `authored`, the moment of the contact with its offset."
        faults.add("missing-element", message, advice, steps)
    edition = _edition(response, steps, editions, names, moment, faults)
    for observation, where in submission.observations:
        other = episode_of(observation, where, names, faults)
        if other is not None and other != episode:
            message = "The observation is about another subject than the questionnaire response."
            faults.add("subjects-differ", message, "Send observations of one person.", (*where, "subject"))
    if edition is None:
        raise InvalidAssessment(faults.found)
    given = read_answers(response, steps, forms[edition.id], names, faults)
    day = day_of(moment) if moment is not None else None
    reader = ObservationReader(code_map, edition.vocabulary, Contact(episode, day), given, faults)
    for observation, where in submission.observations:
        reader.read(observation, where)
    if len(faults):
        raise InvalidAssessment(faults.found)
    places: dict[Steps, Steps] = {
        ("assessed_at",): (*steps, "authored"),
        ("episode",): (*steps, "subject", "identifier", "value"),
        ("edition",): (*steps, "questionnaire"),
        **given.places,
    }
    assessment = _assessment(response, edition, episode, given.answers)
    return Mapped(written(assessment), episode, canonical(edition, names), tuple(reader.notes), places, steps)


def _assessment(
    response: Json, edition: Edition, episode: str | None, answers: Mapping[Steps, Any]
) -> dict[str, Any]:
    assessment: dict[str, Any] = {"assessed_at": response["authored"], "edition": edition.id}
    if episode is not None:
        assessment["episode"] = episode
    assessment |= {"person": {}, "limbs": {}}
    for target, answer in answers.items():
        parent = assessment
        for step in target[:-1]:
            parent = parent.setdefault(str(step), {})
        parent[str(target[-1])] = answer
    return assessment


def _moment(text: str | None) -> datetime | None:
    """The moment, for comparing days; one that cannot be read is named by the reader of assessments."""
    try:
        moment = datetime.fromisoformat(text or "")
    except ValueError:
        return None
    return moment if moment.tzinfo is not None and 1900 <= moment.year <= 9998 else None


def _edition(
    response: Json,
    steps: Steps,
    editions: Mapping[str, Edition],
    names: Identifiers,
    moment: datetime | None,
    faults: Faults,
) -> Edition | None:
    """The edition whose questionnaire was answered. It must be the one in force: a form that was not renewed
    must not go on deciding by old rules."""
    where = (*steps, "questionnaire")
    named = text_of(response, "questionnaire", steps, faults)
    if named is None:
        message = "The response does not say which questionnaire it answers."
        advice = "Send `questionnaire` with the version, as the questionnaire's `url|version`."
        faults.add("missing-element", message, advice, steps)
        return None
    known = {canonical(edition, names): edition for edition in editions.values()}
    edition = known.get(named)
    if edition is None:
        advice = did_you_mean(named[:200], known, "List the questionnaires to see their `url` and `version`.")
        if "|" not in named:
            advice = "Add the version, as in `url|version`: it says which edition's questions were answered."
        faults.add("unknown-questionnaire", f"There is no questionnaire `{shown(named)}`.", advice, where)
        return None
    today = _in_force(edition, editions, day_of(moment)) if moment is not None else edition
    if today is None or today.id != edition.id:
        message = f"The edition {edition.id} of the questionnaire was not in force at the contact."
        advice = "Ask again by the questionnaire in force, "
        advice += f"{canonical(today, names)}." if today else "or tell whoever runs the service."
        faults.add("questionnaire-not-in-force", message, advice, where)
    return edition


def _in_force(edition: Edition, editions: Mapping[str, Edition], day: date) -> Edition | None:
    return active_edition(editions.values(), day, edition.name)


def written(value: Any) -> bytes:
    """JSON text in which every number keeps its digits."""
    return _text(value).encode()


def _text(value: Any) -> str:
    match value:
        case Decimal():
            return str(value)
        case dict():
            return "{" + ",".join(f"{json.dumps(name)}:{_text(item)}" for name, item in value.items()) + "}"
        case list():
            return "[" + ",".join(map(_text, value)) + "]"
        case _:
            return json.dumps(value)
