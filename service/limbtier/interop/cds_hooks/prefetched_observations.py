"""Finds, among observations that the client sent along, those that belong to an assessment.

They are those with a code of the site's code map that were made on the day of the assessment. What was made
on another day belongs to another contact and is passed over: it can neither fill a gap nor contradict.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from limbtier.domain.assessment import day_of
from limbtier.domain.code_map import CodeMap
from limbtier.interop.cds_hooks.prefetch import (
    Found,
    Steps,
    has_next,
    invalid,
    missing,
    refuse_other_patient,
    resources_of,
)
from limbtier.interop.cds_hooks.services import OBSERVATIONS
from limbtier.interop.fhir.elements import codings_of


def find_observations(prefetch: Mapping[str, Any], patient: str, day: date, code_map: CodeMap) -> list[Found]:
    """The observations of the patient on a day; none where the client sent none. Raises PrefetchMissing when
    some may be missing, InvalidHookRequest for what is no such answer."""
    steps: Steps = ("prefetch", OBSERVATIONS)
    bundle = prefetch.get(OBSERVATIONS)
    if bundle is None:
        return []
    if not isinstance(bundle, dict) or bundle.get("resourceType") not in ("Bundle", "OperationOutcome"):
        raise invalid("The observations are no Bundle.", "Send what the query of discovery gives.", steps)
    entries = resources_of(bundle, "Observation", steps)
    days = [_day(one.resource) for one in entries]
    if has_next(bundle) and not _is_whole(days, day):
        raise missing("There are further pages, which may hold observations of the day.", steps)
    mapped = {(one.code.system, one.code.code) for one in code_map.observations}
    found = [
        one
        for one, made in zip(entries, days, strict=True)
        if made == day and not mapped.isdisjoint(_codes(one.resource))
    ]
    for one in found:
        refuse_other_patient(one, patient)
    return found


def _is_whole(days: list[date | None], day: date) -> bool:
    """Whether a page, the newest first, reaches back beyond a day."""
    known = [one for one in days if one is not None]
    return len(known) == len(days) > 0 and known == sorted(known, reverse=True) and known[-1] < day


def _codes(observation: Mapping[str, Any]) -> list[tuple[str, str]]:
    components = observation.get("component", [])
    parts = (
        [observation, *(one for one in components if isinstance(one, dict))]
        if (isinstance(components, list))
        else [observation]
    )
    return [coding for part in parts for coding in codings_of(part.get("code"))]


def _day(observation: Mapping[str, Any]) -> date | None:
    written = observation.get("effectiveDateTime", observation.get("effectiveInstant"))
    try:
        moment = datetime.fromisoformat(written) if isinstance(written, str) else None
    except ValueError:
        return None
    if moment is None or not 1900 <= moment.year <= 9998:
        return None
    return moment.date() if moment.tzinfo is None else day_of(moment)
