"""What a request holds: one questionnaire response and observations, alone, contained, or in a bundle.

References are only looked up within the request. Nothing is ever fetched.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from limbtier.interop.fhir.elements import (
    ELEMENT,
    RESOURCE,
    Faults,
    Json,
    Steps,
    check_elements,
    objects,
    shown,
    text_of,
)

MOST_ENTRIES: Final = 200
_TAKEN: Final = (
    "Send a QuestionnaireResponse, or a Bundle of type `collection` with one and its Observations."
)


@dataclass(frozen=True, slots=True)
class Submission:
    """The resources of a request, each with its place."""

    response: dict[str, Any]
    response_steps: Steps
    observations: tuple[tuple[dict[str, Any], Steps], ...]


def resource_type(body: Any) -> str:
    """The type of the resource that the whole request is, for FHIRPath; `Resource` when it has none."""
    kind = body.get("resourceType") if isinstance(body, dict) else None
    return kind if isinstance(kind, str) and kind.isalpha() and len(kind) < 60 else "Resource"


def open_envelope(body: Any, faults: Faults) -> Submission | None:
    """The resources of a request; None when there is not exactly one questionnaire response."""
    if not isinstance(body, dict):
        faults.add("wrong-type", "The request is no resource.", _TAKEN, ())
        return None
    steps: Steps = ()
    resource = body
    if body.get("resourceType") == "Parameters":
        inner = _parameter(body, faults)
        if inner is None:
            return None
        resource, steps = inner
    match resource.get("resourceType"):
        case "QuestionnaireResponse":
            return _with_contained(resource, steps, [], faults)
        case "Bundle":
            return _bundle(resource, steps, faults)
        case kind:
            _refuse_type(kind, steps, faults)
            return None


def _parameter(body: Json, faults: Faults) -> tuple[dict[str, Any], Steps] | None:
    check_elements(body, {"resourceType", "parameter"}, RESOURCE, (), faults)
    given = objects(body, "parameter", (), faults)
    advice = "Send one parameter with the name `resource`."
    if len(given) != 1 or given[0][0].get("name") != "resource":
        faults.add("unexpected-resource", "The operation takes one parameter.", advice, ("parameter",))
        return None
    parameter, where = given[0]
    check_elements(parameter, {"name", "resource"}, ELEMENT, where, faults)
    inner = parameter.get("resource")
    if not isinstance(inner, dict):
        faults.add("unexpected-resource", "The parameter holds no resource.", advice, where)
        return None
    return inner, (*where, "resource")


def _refuse_type(kind: object, steps: Steps, faults: Faults) -> None:
    if kind == "OperationOutcome":
        message = "An OperationOutcome stands in place of a resource: something was not found or not allowed."
        faults.add("unexpected-resource", message, "Leave out what could not be had.", steps)
    elif kind == "Patient":
        message = "A Patient resource says who the person is, which is not needed here."
        faults.add("subject-not-pseudonymous", message, "Leave it out.", steps)
    elif isinstance(kind, str):
        faults.add("unexpected-resource", f"A {shown(kind)} is not taken here.", _TAKEN, steps)
    else:
        faults.add("unexpected-resource", "The request holds something that is no resource.", _TAKEN, steps)


def _bundle(bundle: dict[str, Any], steps: Steps, faults: Faults) -> Submission | None:
    read = {"resourceType", "type", "entry", "total", "link"}
    check_elements(bundle, read, RESOURCE | {"identifier", "timestamp"}, steps, faults)
    if bundle.get("type") != "collection":
        message = "The bundle is no collection."
        advice = "Send a bundle of the type `collection`: nothing of it is stored or carried out."
        faults.add("unexpected-bundle", message, advice, (*steps, "type"))
    entries = objects(bundle, "entry", steps, faults)
    if len(entries) > MOST_ENTRIES:
        message = f"The bundle has {len(entries)} entries; at most {MOST_ENTRIES} are taken."
        faults.add("unexpected-bundle", message, "Send one contact in a request.", (*steps, "entry"))
        return None
    _refuse_part(bundle, len(entries), steps, faults)
    responses: list[tuple[dict[str, Any], Steps]] = []
    observations: list[tuple[dict[str, Any], Steps]] = []
    addresses: set[str] = set()
    for entry, where in entries:
        check_elements(entry, {"fullUrl", "resource"}, ELEMENT | {"link"}, where, faults)
        address = text_of(entry, "fullUrl", where, faults)
        if address is not None:
            if address in addresses:
                message = "Another entry has the same `fullUrl`."
                faults.add("repeated-entry", message, "Send each resource once.", (*where, "fullUrl"))
            addresses.add(address)
        inner, place = entry.get("resource"), (*where, "resource")
        kind = inner.get("resourceType") if isinstance(inner, dict) else None
        if isinstance(inner, dict) and kind == "QuestionnaireResponse":
            responses.append((inner, place))
        elif isinstance(inner, dict) and kind == "Observation":
            observations.append((inner, place))
        else:
            _refuse_type(kind, place, faults)
    for where, reference in _references(bundle, steps):
        if reference.startswith(("urn:uuid:", "urn:oid:")) and reference not in addresses:
            message = "The reference names a resource that is not in the bundle."
            advice = "Send the resource along, or leave the reference out."
            faults.add("unresolved-reference", message, advice, where)
    if len(responses) != 1:
        message = f"The bundle holds {len(responses)} questionnaire responses."
        faults.add("unexpected-bundle", message, "Send exactly one.", (*steps, "entry"))
        return None
    return _with_contained(*responses[0], observations, faults)


def _refuse_part(bundle: Json, entries: int, steps: Steps, faults: Faults) -> None:
    """A page of something larger would lack answers that count."""
    if "total" in bundle and bundle["total"] != entries:
        message = f"`total` is not the number of the entries, {entries}."
        faults.add("unexpected-bundle", message, "Send all entries, without `total`.", (*steps, "total"))
    for link, where in objects(bundle, "link", steps, faults):
        if link.get("relation") != "self":
            message = "The bundle is a page of something larger."
            faults.add("unexpected-bundle", message, "Send all entries in one bundle.", where)


def _with_contained(
    response: dict[str, Any], steps: Steps, others: list[tuple[dict[str, Any], Steps]], faults: Faults
) -> Submission:
    """The response, with the observations that it contains beside those of the bundle."""
    contained = objects(response, "contained", steps, faults)
    for resource, where in [(response, steps), *others]:
        _check_local(resource, where, faults)
    observations = list(others)
    for resource, where in contained:
        if resource.get("resourceType") == "Observation":
            observations.append((resource, where))
        else:
            _refuse_type(resource.get("resourceType"), where, faults)
        if "contained" in resource:
            message = "A contained resource contains another."
            faults.add("unexpected-resource", message, "Contain it in the outer one.", (*where, "contained"))
    return Submission(response, steps, tuple(observations))


def _check_local(resource: Json, steps: Steps, faults: Faults) -> None:
    """Every reference to a contained resource must find one, and every contained one must be referred to."""
    ids: dict[str, Steps] = {}
    for inner, where in objects(resource, "contained", steps, Faults()):
        name = inner.get("id")
        if not isinstance(name, str):
            faults.add("missing-element", "A contained resource has no id.", "Give it one.", where)
        elif name in ids:
            faults.add("repeated-entry", "Two contained resources have one id.", "Rename one.", where)
        else:
            ids[name] = where
    used = set()
    for where, reference in _references(resource, steps):
        if reference.startswith("#") and reference != "#":
            used.add(reference[1:])
            if reference[1:] not in ids:
                message = "The reference names a contained resource that is not there."
                faults.add("unresolved-reference", message, "Contain the resource.", where)
    for name, where in ids.items():
        if name not in used:
            message = "Nothing refers to this contained resource."
            advice = f'Name it in `partOf`, as `{{"reference": "#{shown(name)}"}}`.'
            faults.add("unresolved-reference", message, advice, where)


def _references(value: Any, steps: Steps) -> Iterator[tuple[Steps, str]]:
    match value:
        case dict():
            for name, item in value.items():
                if name == "reference" and isinstance(item, str):
                    yield (*steps, name), item
                else:
                    yield from _references(item, (*steps, name))
        case list():
            for place, item in enumerate(value):
                yield from _references(item, (*steps, place))
