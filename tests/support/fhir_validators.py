"""Checks of FHIR R4 resources that know nothing of one another; each sees what another misses.

- HL7's own JSON Schema of R4: names of elements, types, most code lists; never a required primitive.
- `fhir.resources` (BSD): required elements, one of a choice of types, dates. It has 4.3.0 (R4B) and no
  4.0.1; the two are alike in every element used here.
- `fhirkit` (MIT or Apache-2.0), from the R4 definitions: required elements, cardinalities, unknown elements.
- The invariants of the official StructureDefinitions, evaluated with `fhirpathpy` (MIT).
- The official code systems, for the codes that the schema leaves open.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import fhirkit
import fhirpathpy
import jsonschema
from fhir.resources.R4B import get_fhir_model_class
from fhirpathpy.models import models
from pydantic import ValidationError

Resource = dict[str, Any]
FHIR = Path("standards") / "fhir-r4"
# These read what the evaluator does not know: `%resource`, or that an element has a value.
NOT_EVALUATED = ("ele-1", "ext-1", "dom-3", "obs-7")
CODE_LISTS = {
    ("CarePlan", "status"): "request-status",
    ("CarePlan", "intent"): "request-intent",
    ("GuidanceResponse", "status"): "guidance-response-status",
    ("ServiceRequest", "status"): "request-status",
    ("ServiceRequest", "intent"): "request-intent",
    ("ServiceRequest", "priority"): "request-priority",
    ("Task", "status"): "task-status",
    ("Task", "priority"): "request-priority",
    ("QuestionnaireResponse", "status"): "questionnaire-answers-status",
}


def parts(resource: Resource) -> Iterator[Resource]:
    """A resource, and every resource inside it."""
    yield resource
    inner = [entry.get("resource") for entry in resource.get("entry", [])] + resource.get("contained", [])
    for one in inner:
        if isinstance(one, dict):
            yield from parts(one)


@cache
def _json(file: Path) -> Any:
    return json.loads(file.read_text(encoding="utf-8"))


def schema_faults(resource: Resource, shared_data: Path) -> list[str]:
    """What the JSON Schema of R4 says against a resource and those inside it.

    Each resource is validated against the definition of its own type: the schema's choice among all types
    would try 150 definitions for each.
    """
    definitions = _json(shared_data / FHIR / "fhir.schema.json")["definitions"]
    found: list[str] = []
    for part in parts(resource):
        kind = part.get("resourceType")
        if kind not in definitions:
            found.append(f"no resource type {kind}")
            continue
        own = {name: value for name, value in part.items() if name != "contained"}
        if "entry" in own:
            own["entry"] = [
                {name: value for name, value in entry.items() if name != "resource"} for entry in own["entry"]
            ]
        schema = {"$ref": f"#/definitions/{kind}", "definitions": definitions}
        found += [
            f"{kind} {error.json_path}: {error.message[:200]}"
            for error in jsonschema.Draft6Validator(schema).iter_errors(own)
        ]
    return found


def model_faults(resource: Resource) -> list[str]:
    """What the models of `fhir.resources` say against a resource."""
    kind = resource["resourceType"]
    try:
        get_fhir_model_class(kind).model_validate_json(json.dumps(resource))
    except ValidationError as error:
        return [f"{kind} {one['loc']}: {one['msg']}" for one in error.errors()]
    return []


def definition_faults(resource: Resource) -> list[str]:
    """What `fhirkit` says against a resource by the definitions of R4."""
    return [str(issue) for issue in fhirkit.validate(resource) if issue.severity == "error"]


def invariant_faults(resource: Resource, shared_data: Path) -> list[str]:
    """Every invariant of the official definitions that a resource, or one inside it, breaks."""
    found: list[str] = []
    for part in parts(resource):
        for path, key, holds in _invariants(part["resourceType"], shared_data):
            broken = [one for one in _elements(part, path) if holds(one) not in ([True], [])]
            found += [f"{key} at {path}"] * len(broken)
    return found


@cache
def _invariants(kind: str, shared_data: Path) -> list[tuple[str, str, Callable[..., list[Any]]]]:
    file = shared_data / FHIR / "structuredefinitions" / f"StructureDefinition-{kind}.json"
    if not file.exists():
        return []
    return [
        (element["path"], one["key"], fhirpathpy.compile(one["expression"], models["r4"]))
        for element in _json(file)["snapshot"]["element"]
        for one in element.get("constraint", [])
        if one["key"] not in NOT_EVALUATED and one.get("severity") != "warning"
    ]


def _elements(resource: Resource, path: str) -> list[Any]:
    found: list[Any] = [resource]
    for name in path.split(".")[1:]:
        below = [one[name] for one in found if isinstance(one, dict) and name in one]
        found = [item for value in below for item in (value if isinstance(value, list) else [value])]
        if name == "item":  # items hold items, with the same constraints
            found = [inner for one in found for inner in _with_items(one)]
    return found


def _with_items(item: Resource) -> Iterator[Resource]:
    yield item
    for inner in item.get("item", []):
        yield from _with_items(inner)


def code_faults(resource: Resource, shared_data: Path) -> list[str]:
    """Codes that are in none of the official code systems."""
    found: list[str] = []
    for part in parts(resource):
        for (kind, name), system in CODE_LISTS.items():
            if part.get("resourceType") == kind and name in part:
                file = shared_data / FHIR / "codesystems" / f"CodeSystem-{system}.json"
                if part[name] not in _codes(_json(file)["concept"]):
                    found.append(f"{kind}.{name} is {part[name]}")
    return found


def _codes(concepts: list[dict[str, Any]]) -> set[str]:
    return {code for one in concepts for code in (one["code"], *_codes(one.get("concept", [])))}


def faults(resource: Resource, shared_data: Path) -> list[str]:
    """What any of the checks says."""
    return [
        *schema_faults(resource, shared_data),
        *model_faults(resource),
        *definition_faults(resource),
        *invariant_faults(resource, shared_data),
        *code_faults(resource, shared_data),
    ]
