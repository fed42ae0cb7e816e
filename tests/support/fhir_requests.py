"""FHIR requests made from plain assessments: what a form filler would send for the same answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from limbtier.domain.edition import Edition
from limbtier.interop.fhir.form import CALENDAR, Form, Item, form_of, not_done_link
from limbtier.interop.fhir.identifiers import Identifiers
from limbtier.interop.fhir.questionnaire import canonical

BASE = "https://limbtier.invalid/fhir"
NAMES = Identifiers(BASE)
UCUM = "http://unitsofmeasure.org"
OBSERVATIONS = f"{BASE}/CodeSystem/observation"


def response_of(assessment: Mapping[str, Any], edition: Edition) -> dict[str, Any]:
    """A completed QuestionnaireResponse with the answers of an assessment."""
    form = form_of(edition.vocabulary)
    items = [found for group in form.groups if (found := _item(group, assessment, form)) is not None]
    response: dict[str, Any] = {
        "resourceType": "QuestionnaireResponse",
        "questionnaire": canonical(edition, NAMES),
        "status": "completed",
        "authored": assessment["assessed_at"],
        "item": items,
    }
    if "episode" in assessment:
        response["subject"] = subject(assessment["episode"])
    return response


def subject(episode: str) -> dict[str, Any]:
    """A logical reference to a person by an episode reference."""
    return {"identifier": {"system": NAMES.episode, "value": episode}}


def observation(code: str, value: Any, unit: str, day: str, site: str | None = None) -> dict[str, Any]:
    """A final Observation with a code of the shipped code map."""
    found: dict[str, Any] = {
        "resourceType": "Observation",
        "status": "final",
        "code": {"coding": [{"system": OBSERVATIONS, "code": code}]},
        "effectiveDateTime": day,
        "valueQuantity": {"value": value, "system": UCUM, "code": unit},
    }
    if site is not None:
        found["bodySite"] = {"coding": [{"system": OBSERVATIONS, "code": site}]}
    return found


def collection(*resources: Mapping[str, Any]) -> dict[str, Any]:
    """A Bundle of the type `collection`."""
    return {
        "resourceType": "Bundle",
        "type": "collection",
        "entry": [{"resource": resource} for resource in resources],
    }


def item_of(response: Mapping[str, Any], link_id: str) -> dict[str, Any]:
    """The item of a response with a link id. Raises LookupError."""
    for entry in response.get("item", []):
        if entry["linkId"] == link_id:
            found: dict[str, Any] = entry
            return found
        try:
            return item_of(entry, link_id)
        except LookupError:
            continue
    raise LookupError(link_id)


def _item(item: Item, assessment: Mapping[str, Any], form: Form) -> dict[str, Any] | None:
    if item.type == "group":
        below = [found for one in item.items if (found := _item(one, assessment, form)) is not None]
        return {"linkId": item.link_id, "item": below} if below else None
    if item.link_id == CALENDAR:
        if "calendar" not in assessment:
            return None
        coding = {"system": NAMES.codes("calendar"), "code": assessment["calendar"]}
        return {"linkId": item.link_id, "answer": [{"valueCoding": coding}]}
    target = item.target
    assert target is not None
    place: Any = assessment
    for step in target.place:
        place = place.get(step, {})
    if target.entry.name not in place:
        return None
    answer = place[target.entry.name]
    if target.not_done:
        done = answer != "not_done"
        return None if done else {"linkId": item.link_id, "answer": [{"valueBoolean": True}]}
    if answer == "not_done" and item.type != "choice":
        assert not_done_link(item.link_id) in form.by_link_id
        return None
    answers = answer if item.repeats else [answer]
    return {"linkId": item.link_id, "answer": [_value(item, one) for one in answers]}


def _value(item: Item, answer: Any) -> dict[str, Any]:
    match item.type:
        case "boolean":
            return {"valueBoolean": answer}
        case "integer":
            return {"valueInteger": answer}
        case "decimal":
            return {"valueDecimal": answer}
        case "date":
            return {"valueDate": answer}
    assert item.target is not None
    return {"valueCoding": {"system": NAMES.choices(item.target.entry.name), "code": answer}}
