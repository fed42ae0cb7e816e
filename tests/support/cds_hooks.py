"""Calls of CDS Hooks services about invented people, and HL7's logical models as a check of the answers."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import orjson

from limbtier.foundation.settings import CHECKOUT
from limbtier.use_cases.decide import ReadyRules
from tests.support.fhir_requests import response_of

PATIENT = "invented-1"
MODELS = Path("standards") / "cds-hooks" / "logical-models"
SPECIFICATION = Path("standards") / "cds-hooks" / "spec-examples"
VIEW, SELECT = "limbtier-patient-view", "limbtier-order-select"


def assessment(name: str = "first_contact", **danger: Any) -> dict[str, Any]:
    """An invented assessment of the demo data; `danger` changes answers about the left leg."""
    found: dict[str, Any] = orjson.loads((CHECKOUT / "demo_data" / f"{name}.json").read_bytes())
    found["limbs"]["left"] |= danger
    return found


def answered(rules: ReadyRules, contact: Mapping[str, Any]) -> dict[str, Any]:
    """The assessment as a client's FHIR server holds it: with who it is about and who wrote it."""
    in_force = rules.edition(None, datetime.fromisoformat(contact["assessed_at"]))
    assert in_force is not None
    response = response_of(contact, in_force.edition)
    return {
        **response,
        "id": "qr-1",
        "meta": {"versionId": "1", "lastUpdated": contact["assessed_at"]},
        "subject": {"reference": f"Patient/{PATIENT}", "display": "Tamsin Invented"},
        "author": {"reference": "Practitioner/invented-nurse", "display": "Corin Invented"},
        "encounter": {"reference": "Encounter/invented"},
    }


def found(*resources: Mapping[str, Any], more_pages: bool = False) -> dict[str, Any]:
    """The answer to a query."""
    bundle: dict[str, Any] = {"resourceType": "Bundle", "type": "searchset"}
    if resources:
        bundle["entry"] = [{"resource": one, "search": {"mode": "match"}} for one in resources]
    if more_pages:
        bundle["link"] = [{"relation": "next", "url": "https://fhir.invented.example/next"}]
    return bundle


def call(assessed: Any, service: str = VIEW, **changes: Any) -> dict[str, Any]:
    """A call with this under `assessment`."""
    context: dict[str, Any] = {"userId": "Practitioner/invented-nurse", "patientId": PATIENT}
    if service == SELECT:
        order = {"resourceType": "ServiceRequest", "id": "draft-1", "status": "draft", "intent": "order"}
        context["selections"] = ["ServiceRequest/draft-1"]
        context["draftOrders"] = {
            "resourceType": "Bundle",
            "type": "collection",
            "entry": [{"resource": order}],
        }
    return {
        "hook": "patient-view" if service == VIEW else "order-select",
        "hookInstance": str(uuid.uuid4()),
        "fhirServer": "https://fhir.invented.example/r4",
        "fhirAuthorization": {
            "access_token": "secret-of-the-client",
            "token_type": "Bearer",
            "expires_in": 300,
            "scope": "patient/QuestionnaireResponse.rs",
            "subject": "limbtier",
            "patient": PATIENT,
        },
        "context": context,
        "prefetch": {"assessment": assessed},
        **changes,
    }


def model_faults(value: Any, model: str, shared_data: Path) -> list[str]:
    """What the cardinalities of a logical model (FHIR/fhir-tools-ig) say against a JSON object.

    They are walked by path. What the models leave open or get wrong is not looked at here: that a card must
    have an indicator, for one, the text of the specification says and the model does not.
    """
    file = shared_data / MODELS / f"structuredefinition-{model}.json"
    elements = json.loads(file.read_text(encoding="utf-8"))["differential"]["element"]
    known: dict[str, tuple[int, str]] = {}
    for element in elements:
        names = element["path"].split(".")[1:]
        for extension in element.get("extension", []):
            if extension["url"].endswith("/json-name"):
                names[-1] = extension["valueString"]
        if names and names[:-1] not in (
            ["prefetch"],
            ["services", "prefetch"],
        ):  # keys and values of a mapping
            known[".".join(names)] = (element["min"], element["max"])
    return list(_faults(value, "", known))


def _faults(value: Any, prefix: str, known: Mapping[str, tuple[int, str]]) -> Iterator[str]:
    if not isinstance(value, dict):
        yield f"{prefix}: no object"
        return
    children = {
        path.removeprefix(prefix): rule
        for path, rule in known.items()
        if path.startswith(prefix) and "." not in path.removeprefix(prefix)
    }
    yield from (
        f"{prefix}{name}: missing" for name, rule in children.items() if rule[0] and name not in value
    )
    for name, item in value.items():
        path = f"{prefix}{name}"
        if name == "extension":
            continue
        if name not in children:
            yield f"{path}: not in the model"
            continue
        several = children[name][1] == "*" and not path.endswith("prefetch")
        if several != isinstance(item, list):
            yield f"{path}: {'no list' if several else 'a list'}"
        if item in (None, "", [], {}) and path not in ("cards", "services"):
            yield f"{path}: empty"
        if any(one.startswith(f"{path}.") for one in known):
            for one in item if isinstance(item, list) else [item]:
                yield from _faults(one, f"{path}.", known)
