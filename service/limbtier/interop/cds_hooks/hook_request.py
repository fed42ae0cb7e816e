"""The call of a service (CDS Hooks 2.0, "Calling a CDS Service"), read strictly where it is used.

Members that the standard does not name are passed over: it reserves none and lets clients add some. Never
looked at are `fhirServer` and `fhirAuthorization` beyond their types: nothing is fetched, so an address tells
nothing and a token is good for nothing here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from limbtier.foundation.diagnostics import Diagnostic, pointer
from limbtier.foundation.errors import LimbtierError
from limbtier.interop.cds_hooks.services import ASSESSMENT, OBSERVATIONS, CdsService

LONGEST_TEXT: Final = 2000
"""Characters of any text that is not a FHIR resource: ids, addresses, codes."""
MOST_SELECTIONS: Final = 1000

_UUID: Final = re.compile(r"(?:urn:uuid:)?[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
_PATIENT: Final = re.compile(r"[A-Za-z0-9.-]{1,64}")  # FHIR R4, type id
_KINDS: Final[Mapping[str, type]] = {
    "userId": str,
    "patientId": str,
    "selections": list,
    "draftOrders": dict,
}
_NAMES: Final[Mapping[type, str]] = {str: "a text", list: "a list", dict: "an object"}


class InvalidHookRequest(LimbtierError):
    """The body is no call of this service."""

    code = "invalid-hook-request"


@dataclass(frozen=True, slots=True)
class HookRequest:
    """What is used of a call: the patient's id in the client's FHIR server, and what was sent along."""

    patient: str
    prefetch: Mapping[str, Any]


def read_hook_request(value: Any, service: CdsService) -> HookRequest:
    """The call. Raises InvalidHookRequest that names every fault at once."""
    if not isinstance(value, dict):
        raise InvalidHookRequest([_fault("wrong-type", "The call is no object.", "Send one object.")])
    found: list[Diagnostic] = []
    hook = _member(value, "hook", str, found)
    if hook is not None and hook != service.hook:
        advice = f"Call this service for the hook `{service.hook}`; discovery lists the others."
        found.append(_fault("wrong-hook", "This service is not for that hook.", advice, "hook"))
    instance = _member(value, "hookInstance", str, found)
    if instance is not None and not _UUID.fullmatch(instance):
        advice = "Send a fresh UUID for each call."
        found.append(_fault("bad-format", "`hookInstance` is no UUID.", advice, "hookInstance"))
    context = _member(value, "context", dict, found) or {}
    if "context" in value and isinstance(value["context"], dict):
        for name in service.context:
            _member(context, name, _KINDS[name], found, "context")
        _check_context(context, found)
    for name, kind in (("fhirServer", str), ("fhirAuthorization", dict), ("prefetch", dict)):
        if name in value:
            _member(value, name, kind, found)
    given = value.get("prefetch")
    prefetch = given if isinstance(given, dict) else {}
    for name in (ASSESSMENT, OBSERVATIONS):
        if prefetch.get(name) is not None:
            _member(prefetch, name, dict, found, "prefetch")
    if "fhirAuthorization" in value and "fhirServer" not in value:
        advice = "Send it with the authorisation, or send neither: this service fetches nothing."
        found.append(_fault("missing-field", "`fhirServer` is missing.", advice, "fhirServer"))
    if found:
        raise InvalidHookRequest(found)
    return HookRequest(context["patientId"], prefetch)


def _check_context(context: Mapping[str, Any], found: list[Diagnostic]) -> None:
    patient, selections, orders = (context.get(name) for name in ("patientId", "selections", "draftOrders"))
    if isinstance(patient, str) and not _PATIENT.fullmatch(patient):
        advice = "Send the id alone, without `Patient/`: 1 to 64 letters, digits, - and points."
        found.append(_fault("bad-format", "`patientId` is no FHIR id.", advice, "context", "patientId"))
    if isinstance(selections, list) and len(selections) > MOST_SELECTIONS:
        advice = f"Send at most {MOST_SELECTIONS}."
        found.append(
            _fault("out-of-range", "There are too many selections.", advice, "context", "selections")
        )
    elif isinstance(selections, list) and not all(is_text(one) for one in selections):
        advice = "List the selected drafts as texts, such as `ServiceRequest/123`."
        found.append(
            _fault("wrong-type", "A selection is no text, or too long.", advice, "context", "selections")
        )
    if isinstance(orders, dict) and orders.get("resourceType") != "Bundle":
        advice = "Send a FHIR Bundle of the drafts."
        found.append(_fault("wrong-type", "`draftOrders` is no Bundle.", advice, "context", "draftOrders"))


def _member(
    value: Mapping[str, Any], name: str, kind: type, found: list[Diagnostic], *before: str
) -> Any | None:
    """A member of this type, else None with a fault."""
    if name not in value:
        advice = "Give it, as CDS Hooks 2.0 and the hook ask."
        found.append(_fault("missing-field", f"`{name}` is missing.", advice, *before, name))
        return None
    if kind is str and isinstance(value[name], str) and len(value[name]) > LONGEST_TEXT:
        advice = f"Send at most {LONGEST_TEXT} characters."
        found.append(_fault("out-of-range", f"`{name}` is too long.", advice, *before, name))
        return None
    if not isinstance(value[name], kind):
        message = f"`{name}` is not {_NAMES[kind]}."
        found.append(_fault("wrong-type", message, f"Send {_NAMES[kind]}.", *before, name))
        return None
    return value[name]


def is_text(value: Any) -> bool:
    """Whether a value is a text of a usable length."""
    return isinstance(value, str) and len(value) <= LONGEST_TEXT


def _fault(code: str, message: str, advice: str, *steps: str) -> Diagnostic:
    return Diagnostic(code, message, advice, pointer(*steps))
