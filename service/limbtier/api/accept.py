"""Which form of an answer a caller wants: by the parameter `form`, or by `Accept` (RFC 9110, 12.5.1)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from fastapi import Request

from limbtier.api.errors import InvalidQuery, NotAcceptable
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean

MEDIA: Final[Mapping[str, str]] = {
    "json": "application/json",
    "html": "text/html; charset=utf-8",
    "markdown": "text/markdown; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "svg": "image/svg+xml",
    "icalendar": "text/calendar; charset=utf-8",
}
"""The media type of each form."""
_LONGEST_HEADER: Final = 2000
_RANGE: Final = re.compile(r"([!#$&^_.+a-z0-9-]+|\*)/([!#$&^_.+a-z0-9-]+|\*)")
_QUALITY: Final = re.compile(r"q\s*=\s*(0(?:\.[0-9]{0,3})?|1(?:\.0{0,3})?)")


def wanted_form(request: Request, query: Mapping[str, str], forms: tuple[str, ...]) -> str:
    """One of `forms`, the first where the caller does not mind. Raises InvalidQuery and NotAcceptable."""
    named = query.get("form")
    if named is not None:
        if named in forms:
            return named
        advice = did_you_mean(named[:20], forms, f"Use one of {', '.join(forms)}.")
        raise InvalidQuery(
            [Diagnostic("bad-parameter", "The query parameter `form` cannot be used.", advice)]
        )
    header = ",".join(request.headers.getlist("accept"))
    best = max(forms, key=lambda form: (_quality(header, form), -forms.index(form)))
    if _quality(header, best) == 0:
        advice = f"Ask for one of {', '.join(_plain(form) for form in forms)}, or leave `Accept` out."
        message = "There is no form of this that the header `Accept` takes."
        raise NotAcceptable([Diagnostic("not-acceptable", message, advice)])
    return best


def form_parameter(forms: tuple[str, ...]) -> dict[str, Any]:
    """The parameter `form` as the description of the API has it."""
    return {
        "name": "form",
        "in": "query",
        "required": False,
        "description": "The form of the answer, whatever the header `Accept` says.",
        "schema": {"type": "string", "enum": list(forms)},
    }


def _plain(form: str) -> str:
    return MEDIA[form].partition(";")[0]


def _quality(header: str, form: str) -> float:
    """How much the header wants a form, from 0 to 1; the most specific range counts. What is no range is
    passed over, as is a header longer than any client sends."""
    if not header.strip() or len(header) > _LONGEST_HEADER:
        return 1.0
    kind, _, subtype = _plain(form).partition("/")
    found: tuple[int, float] = (-1, 0.0)
    for one in header.lower().split(","):
        media, *parameters = (part.strip() for part in one.split(";"))
        matched = _RANGE.fullmatch(media)
        if matched is None or matched[1] not in (kind, "*") or matched[2] not in (subtype, "*"):
            continue
        if matched[1] == "*" and matched[2] != "*":
            continue
        weights = [weight[1] for weight in map(_QUALITY.fullmatch, parameters) if weight]
        specific = (matched[1] != "*") + (matched[2] != "*")
        found = max(found, (specific, float(weights[0]) if weights else 1.0))
    return found[1]
