"""Findings as an OperationOutcome, each with a FHIRPath to its place in the request."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from limbtier.interop.fhir.identifiers import Identifiers

# What each answer of the service is in the words of FHIR's issue types; by its HTTP status where no finding
# says more.
BY_STATUS: Final[Mapping[int, str]] = {
    400: "structure",
    401: "login",
    403: "forbidden",
    404: "not-found",
    405: "not-supported",
    409: "conflict",
    413: "too-long",
    415: "not-supported",
    422: "invalid",
    500: "exception",
    503: "transient",
}
BY_FINDING: Final[Mapping[str, str]] = {
    **dict.fromkeys(
        (
            "empty-limb",
            "idempotency-key-missing",
            "missing-element",
            "missing-field",
            "no-limb",
            "side-not-known",
            "value-absent",
        ),
        "required",
    ),
    **dict.fromkeys(
        (
            "bad-format",
            "bad-parameter",
            "display-differs",
            "impossible-date",
            "future-date",
            "out-of-range",
            "too-many-decimals",
            "unit-not-taken",
            "value-not-exact",
            "wrong-type",
            "wrong-value-type",
        ),
        "value",
    ),
    **dict.fromkeys(
        (
            "empty-element",
            "misplaced-item",
            "repeated-entry",
            "several-answers",
            "unexpected-answer",
            "unexpected-bundle",
            "unexpected-resource",
            "unknown-element",
            "unknown-item",
        ),
        "structure",
    ),
    **dict.fromkeys(("code-not-mapped", "unknown-choice", "wrong-code-system"), "code-invalid"),
    **dict.fromkeys(("unresolved-reference", "unknown-questionnaire"), "not-found"),
    **dict.fromkeys(
        (
            "conflicting-answers",
            "contradicting-answer",
            "dates-out-of-order",
            "idempotency-key-reused",
            "observation-of-another-day",
            "outside-calendar",
            "questionnaire-not-in-force",
            "status-not-taken",
            "subjects-differ",
        ),
        "business-rule",
    ),
    **dict.fromkeys(("patient-number-refused", "subject-not-pseudonymous"), "security"),
    **dict.fromkeys(("modifier-not-known",), "extension"),
    **dict.fromkeys(("unknown-parameter",), "not-supported"),
}


def operation_outcome(problem: Mapping[str, Any], root: str, names: Identifiers) -> dict[str, Any]:
    """Problem details as an OperationOutcome. `root` is the type of the resource that the request was."""
    status = problem["status"]
    instance = problem.get("instance")
    return {
        "resourceType": "OperationOutcome",
        "issue": [
            issue(
                "fatal" if status >= 500 else "error",
                BY_FINDING.get(one["code"], BY_STATUS.get(status, "processing")),
                one["code"],
                one["detail"],
                f"{one['help']} Report {instance}." if instance else one["help"],
                fhir_path(root, one["pointer"]) if "pointer" in one else None,
                names,
            )
            for one in problem["errors"]
        ],
    }


def issue(
    severity: str,
    kind: str,
    code: str,
    text: str,
    advice: str | None,
    expression: str | None,
    names: Identifiers,
) -> dict[str, Any]:
    """One issue: what is wrong, in `details`, and what to do instead, in `diagnostics`."""
    found: dict[str, Any] = {
        "severity": severity,
        "code": kind,
        "details": {"coding": [{"system": names.codes("finding"), "code": code}], "text": text},
    }
    if advice is not None:
        found["diagnostics"] = advice
    if expression is not None:
        found["expression"] = [expression]
    return found


def fhir_path(root: str, fragment: str) -> str:
    """The simple FHIRPath of a place that a JSON pointer, as a URI fragment, names: `#/item/0/linkId` is
    `QuestionnaireResponse.item[0].linkId`. A choice of types has one name: `value` for `valueDecimal`."""
    return fhir_path_of(root, fragment.removeprefix("#").split("/")[1:])


def fhir_path_of(root: str, steps: Iterable[str | int]) -> str:
    """The simple FHIRPath of steps into a resource. Steps that are no element names end it: a place above
    them is named instead."""
    path = root
    for step in steps:
        name = str(step)
        if name.isascii() and name.isdigit():
            path += f"[{name}]"
        elif name.isascii() and name.isalpha():
            path += f".{_element(name)}"
        else:
            break
    return path


def _element(name: str) -> str:
    for choice in ("value", "effective"):
        if name.startswith(choice) and name[len(choice) : len(choice) + 1].isupper():
            return choice
    return name
