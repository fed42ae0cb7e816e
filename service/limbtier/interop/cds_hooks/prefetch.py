"""Finds the newest assessment in what the client sent along.

Nothing is fetched: what is missing, failed or may be incomplete is answered with 412, and an assessment of
somebody else is refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from limbtier.domain.assessment import day_of
from limbtier.foundation.diagnostics import Diagnostic, pointer
from limbtier.foundation.errors import LimbtierError
from limbtier.interop.cds_hooks.hook_request import InvalidHookRequest
from limbtier.interop.cds_hooks.services import ASSESSMENT

_COMPLETED: Final = ("completed", "amended")
# A reference to a patient, relative or absolute, perhaps to one version (FHIR R4, references).
_PATIENT: Final = re.compile(r"(?:.*/)?Patient/([A-Za-z0-9.-]{1,64})(?:/_history/[A-Za-z0-9.-]{1,64})?")


Steps = tuple[str | int, ...]


class PrefetchMissing(LimbtierError):
    """What the service needs was not sent along, and it fetches nothing."""

    code = "prefetch-missing"


@dataclass(frozen=True, slots=True)
class Found:
    """A resource that was sent along; `steps` lead to it from the top of the call."""

    resource: Mapping[str, Any]
    steps: Steps


def find_assessment(prefetch: Mapping[str, Any], patient: str) -> Found | None:
    """The newest completed assessment of the patient; None where the client looked and found none.

    Raises PrefetchMissing when that cannot be known, InvalidHookRequest for what is no such answer.
    """
    steps: Steps = ("prefetch", ASSESSMENT)
    if ASSESSMENT not in prefetch:
        raise missing("The assessment was not sent along.", steps)
    found = prefetch[ASSESSMENT]
    if found is None:  # asked, and nothing is there
        return None
    if not isinstance(found, dict):
        raise invalid("The assessment is no resource.", "Send what the query of discovery gives.", steps)
    entries = resources_of(found, "QuestionnaireResponse", steps)
    completed = [one for one in entries if one.resource.get("status") in _COMPLETED]
    if not completed:
        if entries and has_next(found):
            raise missing("The page has no completed assessment, and there are further pages.", steps)
        return None
    for one in completed:
        refuse_other_patient(one, patient)
    if len(completed) == 1:
        return completed[0]
    moments = [authored_at(one) for one in completed]
    if has_next(found) and moments != sorted(moments, reverse=True):
        message = "The page is not sorted by `authored`, the newest first, and there are further pages."
        raise missing(message, steps)
    newest = max(moments)
    if moments.count(newest) > 1:
        raise missing("Two assessments were authored at the newest moment.", steps)
    return completed[moments.index(newest)]


def resources_of(found: Mapping[str, Any], wanted: str, steps: Steps) -> list[Found]:
    """The resources of one type that an answer to a query is or holds. Raises PrefetchMissing where the query
    failed, InvalidHookRequest for what is no such answer."""
    kind = found.get("resourceType")
    if kind == wanted:
        return [Found(found, steps)]
    if kind == "OperationOutcome":
        raise missing("The query failed: an OperationOutcome was sent in place of its answer.", steps)
    if kind != "Bundle":
        advice = "Send what the query of discovery gives."
        raise invalid(f"This is neither a Bundle nor one {wanted}.", advice, steps)
    return list(_entries(found, wanted, steps))


def _entries(bundle: Mapping[str, Any], wanted: str, steps: Steps) -> Iterator[Found]:
    listed = bundle.get("entry", [])
    if not isinstance(listed, list):
        raise invalid("`entry` is no list.", "Send a FHIR Bundle.", (*steps, "entry"))
    for place, entry in enumerate(listed):
        where = (*steps, "entry", place, "resource")
        resource = entry.get("resource") if isinstance(entry, dict) else None
        if not isinstance(resource, dict):
            raise invalid("The entry has no resource.", "Send a FHIR Bundle of whole resources.", where)
        kind = resource.get("resourceType")
        if kind == "OperationOutcome" and _is_failure(resource):
            raise missing("The query failed: the Bundle says so.", where)
        if kind == wanted:
            yield Found(resource, where)
        elif kind != "OperationOutcome":
            advice = "Send the Bundle that the query of discovery gives."
            raise invalid(f"The entry is no {wanted}.", advice, where)


def _is_failure(outcome: Mapping[str, Any]) -> bool:
    """Whether an OperationOutcome says more than hints; one that cannot be read does."""
    issues = outcome.get("issue")
    if not isinstance(issues, list) or not issues:
        return True
    return any(
        not isinstance(one, dict) or one.get("severity") not in ("warning", "information") for one in issues
    )


def has_next(bundle: Mapping[str, Any]) -> bool:
    """Whether a Bundle has further pages, or may have."""
    links = bundle.get("link", [])
    return not isinstance(links, list) or any(
        not isinstance(one, dict) or one.get("relation") == "next" for one in links
    )


def refuse_other_patient(found: Found, patient: str) -> None:
    """Refuse a resource whose subject is another patient. One that names none is what the client's own
    query found, and a form that holds no id cannot be compared."""
    subject = found.resource.get("subject")
    reference = subject.get("reference") if isinstance(subject, dict) else None
    named = _PATIENT.fullmatch(reference) if isinstance(reference, str) else None
    if named is not None and named[1] != patient:
        advice = "Send what belongs to the patient of the context."
        fault = Diagnostic(
            "other-patient",
            "This is about another patient than the context.",
            advice,
            pointer(*found.steps, "subject", "reference"),
        )
        raise InvalidHookRequest([fault])


def authored_at(found: Found) -> datetime:
    """The moment of an assessment. Raises InvalidHookRequest."""
    authored = found.resource.get("authored")
    try:
        moment = datetime.fromisoformat(authored) if isinstance(authored, str) else None
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None or not 1900 <= moment.year <= 9998:
        advice = "Give date, time and offset, such as 2026-03-02T09:30:00+00:00."
        raise invalid("`authored` is no moment.", advice, (*found.steps, "authored"))
    return moment


def assessed_on(found: Found, today: date) -> date:
    """The day of an assessment by United Kingdom clocks. Raises InvalidHookRequest for one after today: it
    would stand as the newest until that day comes."""
    day = day_of(authored_at(found))
    if day > today:
        fault = Diagnostic(
            "future-date",
            "The assessment was authored on a day that has not come yet.",
            "Correct the assessment.",
            pointer(*found.steps, "authored"),
        )
        raise InvalidHookRequest([fault])
    return day


def missing(message: str, steps: Steps) -> PrefetchMissing:
    """That something needed was not sent along."""
    advice = (
        "Send what the query of discovery gives, under its key. This service fetches nothing itself: it "
        "never asks the client's FHIR server."
    )
    return PrefetchMissing([Diagnostic("prefetch-missing", message, advice, pointer(*steps))])


def invalid(message: str, advice: str, steps: Steps) -> InvalidHookRequest:
    """That what was sent along is something else."""
    return InvalidHookRequest([Diagnostic("wrong-type", message, advice, pointer(*steps))])
