"""What this service does of FHIR, as it says itself: a capability statement, an operation definition."""

from __future__ import annotations

from typing import Any, Final

from limbtier import __version__
from limbtier.interop.fhir.identifiers import OPERATION, Identifiers

FHIR_VERSION: Final = "4.0.1"
CHANGED_ON: Final = "2026-11-25"
_ABOUT: Final = (
    "FHIR R4 defines no operation that returns a GuidanceResponse: `ServiceDefinition/$evaluate` of "
    "Release 3 did, and was removed; `PlanDefinition/$apply` returns a CarePlan. This operation is "
    "therefore the service's own. It takes a QuestionnaireResponse, makes one decision by the edition "
    "whose Questionnaire was answered, and returns a Bundle of type `collection` with a "
    "GuidanceResponse (`success`; `data-requested` while open questions could still change something; "
    "`data-required` while a leg cannot be decided), a CarePlan with ServiceRequests and a Task, all of"
    " intent `proposal`, and a Provenance. Nothing of the request is stored but the assessment that is "
    "read from it, and no reference is ever fetched."
)
_ERRORS: Final = (
    "Errors are OperationOutcomes. The header `Idempotency-Key` makes it safe to ask for a decision again."
)
_SECURITY: Final = (
    "All but this statement needs a bearer token (RFC 6750): a local key, or a signed token. The operation "
    "needs the scope `decide`."
)
_TAKEN: Final = (
    "A QuestionnaireResponse, which may contain Observations; or a Bundle of the type `collection` with one "
    "QuestionnaireResponse and Observations. It may be the whole body."
)


def capability_statement(names: Identifiers) -> dict[str, Any]:
    """The conformance statement of this instance."""
    return {
        "resourceType": "CapabilityStatement",
        "status": "active",
        "date": CHANGED_ON,
        "kind": "instance",
        "software": {"name": "limbtier", "version": __version__},
        "implementation": {
            "description": "Starting tiers of compression and review dates, decided by rule files"
        },
        "fhirVersion": FHIR_VERSION,
        "format": ["application/fhir+json"],
        "rest": [
            {
                "mode": "server",
                "documentation": _ERRORS,
                "security": {
                    "cors": False,
                    "description": _SECURITY,
                },
                "resource": [
                    {
                        "type": "Questionnaire",
                        "interaction": [{"code": "read"}, {"code": "search-type"}],
                        "searchParam": [{"name": "url", "type": "uri"}, {"name": "version", "type": "token"}],
                    },
                    {
                        "type": "QuestionnaireResponse",
                        "operation": [
                            {"name": OPERATION, "definition": names.operation, "documentation": _ABOUT}
                        ],
                    },
                    {"type": "OperationDefinition", "interaction": [{"code": "read"}]},
                ],
            }
        ],
    }


def operation_definition(names: Identifiers) -> dict[str, Any]:
    """The definition of the operation `$evaluate`."""
    return {
        "resourceType": "OperationDefinition",
        "id": OPERATION,
        "url": names.operation,
        "version": __version__,
        "name": "Evaluate",
        "title": "Evaluate an answered questionnaire",
        "status": "active",
        "kind": "operation",
        "date": CHANGED_ON,
        "description": _ABOUT,
        "affectsState": True,
        "code": OPERATION,
        "resource": ["QuestionnaireResponse"],
        "system": False,
        "type": True,
        "instance": False,
        "parameter": [
            {
                "name": "resource",
                "use": "in",
                "min": 1,
                "max": "1",
                "documentation": _TAKEN,
                "type": "Resource",
            },
            {
                "name": "preview",
                "use": "in",
                "min": 0,
                "max": "1",
                "documentation": "In the query: `true` for the same answer without storing a decision.",
                "type": "boolean",
            },
            {
                "name": "return",
                "use": "out",
                "min": 1,
                "max": "1",
                "documentation": "The answer.",
                "type": "Bundle",
            },
        ],
    }
