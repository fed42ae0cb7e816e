"""A decision as a Bundle: the guidance response, the proposed care plan with its requests, the review as a
task, and where it all comes from."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from limbtier.domain.edition import Edition
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.interop.fhir.care_plan import CarePlanWriter
from limbtier.interop.fhir.elements import Steps
from limbtier.interop.fhir.identifiers import Identifiers
from limbtier.interop.fhir.narrative import narrative
from limbtier.interop.fhir.outcome import fhir_path_of, issue

Json = dict[str, Any]
SIDES: Final = ("left", "right")
CANNOT_DECIDE: Final = "cannot_decide_yet"


@dataclass(frozen=True, slots=True)
class Asked:
    """What the answer needs to know of the request: the type of the resource that it was, the questionnaire's
    canonical, the episode, what was converted, and the decision's warnings, each with its place in it."""

    root: str
    questionnaire: str
    episode: str | None
    notes: Sequence[tuple[str, Steps]]
    warnings: Sequence[Diagnostic]


def guidance_bundle(record: Mapping[str, Any], edition: Edition, asked: Asked, names: Identifiers) -> Json:
    """The whole answer. The same record gives the same bundle, so that a retry is answered alike."""
    addresses = _Addresses(record)
    subject = _subject(asked.episode, names)
    plan = CarePlanWriter(record, edition, names, subject, addresses)
    requests = [*plan.requests(), plan.review(), *plan.watched()]
    care_plan = plan.care_plan(requests)
    response = _guidance_response(record, asked, names, subject, addresses)
    resources = [response, care_plan, *requests]
    resources.append(_provenance(record, asked, names, resources, addresses))
    bundle: Json = {
        "resourceType": "Bundle",
        "type": "collection",
        "timestamp": record["decided_at"],
        "entry": [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in resources],
    }
    if record["id"] is not None:
        bundle["identifier"] = {"system": names.decision, "value": record["id"]}
    return bundle


class _Addresses:
    """Ids of the resources of an answer: made from the decision, so that they are always the same."""

    def __init__(self, record: Mapping[str, Any]) -> None:
        own = record["id"]
        self._space = (
            uuid.UUID(own)
            if own is not None
            else uuid.UUID(bytes=hashlib.sha256(record["received"].encode()).digest()[:16])
        )

    def __call__(self, name: str) -> str:
        return str(uuid.uuid5(self._space, name))


def _subject(episode: str | None, names: Identifiers) -> Json:
    """The person, by the episode reference alone."""
    if episode is None:
        return {"type": "Patient", "display": "The person assessed"}
    return {"type": "Patient", "identifier": {"system": names.episode, "value": episode}}


def status_of(record: Mapping[str, Any]) -> str:
    """The status in the words of FHIR: `data-required` while a leg cannot be decided, `data-requested` while
    unanswered questions could still change something, else `success`."""
    limbs = record["limbs"].values()
    if any(limb["disposition"] == CANNOT_DECIDE for limb in limbs):
        return "data-required"
    return "data-requested" if any(limb["questions"] for limb in limbs) else "success"


def _guidance_response(
    record: Mapping[str, Any], asked: Asked, names: Identifiers, subject: Json, addresses: _Addresses
) -> Json:
    response: Json = {
        "resourceType": "GuidanceResponse",
        "id": addresses("GuidanceResponse"),
        "text": narrative(record["person"]["text"], record["caution"]),
        "moduleUri": names.edition(record["edition"]["id"]),
        "status": status_of(record),
        "subject": subject,
        "occurrenceDateTime": record["decided_at"],
        "performer": {"type": "Device", "display": f"limbtier {record['engine']['service']}"},
        "note": [{"text": record["caution"]}, {"text": record["person"]["text"]}],
        "result": {"reference": f"urn:uuid:{addresses('CarePlan')}"},
    }
    if record["id"] is not None:
        response["identifier"] = [{"system": names.decision, "value": record["id"]}]
    messages = [*_messages(asked, names), *_completed(record, names)]
    if messages:
        outcome = {"resourceType": "OperationOutcome", "id": "messages", "issue": messages}
        response["contained"] = [outcome]
        response["evaluationMessage"] = [{"reference": "#messages"}]
    requirements = _requirements(record, asked.questionnaire)
    if requirements:
        response["dataRequirement"] = requirements
    return response


def _messages(asked: Asked, names: Identifiers) -> list[Json]:
    told = [
        issue(
            "warning",
            "value",
            one.code,
            one.message,
            one.help,
            fhir_path_of(asked.root, (one.pointer or "").split("/")[1:]),
            names,
        )
        for one in asked.warnings
    ]
    told += [
        issue("information", "informational", "read-as", text, None, fhir_path_of(asked.root, steps), names)
        for text, steps in asked.notes
    ]
    return told


def _completed(record: Mapping[str, Any], names: Identifiers) -> list[Json]:
    """Each answer that was filled in, replaced or taken out because of the history of the episode."""
    found: list[Json] = []
    for one in (record.get("episode") or {}).get("completed", []):
        asked = f"`{one['input']}` ({one['scope']})"
        changed = one["value"] is None or one["instead_of"] is not None
        if one["value"] is None:
            text = f"{asked} was left out: the history of the episode, of {one['on']}, stands against it."
        else:
            text = f"{asked} was taken from the episode: {_told(one['value'])}, of {one['on']}."
        if changed and one["instead_of"] is not None:
            text += f" The answer sent was {_told(one['instead_of'])}."
        kind = ("warning", "business-rule") if changed else ("information", "informational")
        found.append(issue(*kind, "taken-from-the-episode", text, None, None, names))
    return found


def _told(value: str | list[str]) -> str:
    """An answer for people: the record has 27.5 as the fraction 55/2."""
    if not isinstance(value, str):
        return ", ".join(_told(one) for one in value)
    top, stroke, bottom = value.partition("/")
    return str(Decimal(top) / Decimal(bottom)) if stroke else value


def _requirements(record: Mapping[str, Any], questionnaire: str) -> list[Json]:
    """Each question whose answer still matters, by the link id of its item."""
    url, _, version = questionnaire.partition("|")
    questions: dict[str, str] = {}
    for side in SIDES:
        for one in record["limbs"].get(side, {}).get("questions", []):
            prefix = side if one["scope"] == "limb" else "person"
            questions[f"{prefix}.{one['input']}"] = one["question"]
    return [
        {
            "type": "QuestionnaireResponse",
            "mustSupport": ["item.answer"],
            "codeFilter": [
                {
                    "path": "item.linkId",
                    "code": [{"system": url, "version": version, "code": link_id, "display": question}],
                }
            ],
        }
        for link_id, question in questions.items()
    ]


def _provenance(
    record: Mapping[str, Any],
    asked: Asked,
    names: Identifiers,
    resources: Sequence[Json],
    addresses: _Addresses,
) -> Json:
    edition = record["edition"]
    entities = [
        {
            "role": "source",
            "what": {
                "identifier": {"system": names.digest, "value": edition["digest"]},
                "display": f"Edition {edition['id']}, guard rails {edition['guard_rails']}",
            },
        },
        {
            "role": "source",
            "what": {
                "type": "Questionnaire",
                "identifier": {"system": "urn:ietf:rfc:3986", "value": asked.questionnaire},
                "display": "The questionnaire that was answered",
            },
        },
    ]
    if record["id"] is not None:
        entities.append(
            {
                "role": "source",
                "what": {
                    "identifier": {"system": names.decision, "value": record["id"]},
                    "display": "The decision in the log of the service, with its full trace",
                },
            }
        )
    return {
        "resourceType": "Provenance",
        "id": addresses("Provenance"),
        "target": [{"reference": f"urn:uuid:{one['id']}"} for one in resources],
        "occurredDateTime": record["decided_at"],
        "recorded": record["decided_at"],
        "policy": [names.edition(edition["id"])],
        "agent": [{"who": {"type": "Device", "display": f"limbtier {record['engine']['service']}"}}],
        "entity": entities,
    }
