"""Makes what was found among prefetched data into one submission, as the FHIR resources take it.

A client's own resources name people: the subject, the author, the ids. None of it is needed and none is taken
along. Whatever could change the meaning of an answer is, so that it is read or refused. No reference to an
episode is taken either: that a chart is opened again is no further contact of the episode.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from limbtier.foundation.diagnostics import Diagnostic, pointer
from limbtier.interop.cds_hooks.prefetch import Found

_NAMES_PEOPLE: Final = frozenset(
    {
        "id",
        "meta",
        "language",
        "text",
        "identifier",
        "subject",
        "basedOn",
        "partOf",
        "encounter",
        "author",
        "source",
        "performer",
        "issued",
        "device",
        "note",
        "derivedFrom",
        "hasMember",
        "contained",
    }
)


def submission_of(response: Found, observations: Sequence[Found]) -> dict[str, Any]:
    """A questionnaire response, or a collection of it and observations."""
    first = _without_people(response.resource)
    if not observations:
        return first
    resources = [first, *(_without_people(one.resource) for one in observations)]
    return {
        "resourceType": "Bundle",
        "type": "collection",
        "entry": [{"resource": one} for one in resources],
    }


def placed(finding: Diagnostic, response: Found, observations: Sequence[Found]) -> Diagnostic:
    """A finding about a submission, with the place in the call that it comes from."""
    steps = (finding.pointer or "").split("/")[1:]
    found = response
    if observations and steps[:1] == ["entry"] and steps[2:3] == ["resource"]:
        found = [response, *observations][int(steps[1])]
        steps = steps[3:]
    return replace(finding, pointer="/".join([pointer(*found.steps), *steps]))


def _without_people(resource: Mapping[str, Any]) -> dict[str, Any]:
    """The resource without who it is about, who wrote it and what it hangs together with."""
    return {name: value for name, value in resource.items() if name not in _NAMES_PEOPLE}
