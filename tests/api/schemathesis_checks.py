"""A further check for schemathesis: a request that fits the description is refused only for what JSON Schema
cannot say."""

from __future__ import annotations

from typing import Any

import schemathesis
from schemathesis.checks import CheckContext
from schemathesis.core.transport import Response
from schemathesis.generation.case import Case

BAD_KEY = {"bad-idempotency-key"}
BEYOND_A_SCHEMA = {
    "area-out-of-step",  # the last contact
    "before-first-contact",  # the episode
    "contradicting-answer",  # the condition of a question
    "contradicts-history",  # the episode
    "corrected-before",  # the episode
    "empty-limb",  # but in a form that is being filled in
    "dates-out-of-order",  # two days against one another
    "episode-closed",  # the episode
    "foreign-cursor",  # another question
    "future-date",  # a day after the assessment
    "girth-out-of-step",  # the last contact
    "hides-result",  # the last arterial test
    "idempotency-key-reused",  # another request before
    "impossible-date",  # 30 February
    "later-contacts",  # the episode
    "limbs-look-swapped",  # the last contact
    "missing-field",  # what must stand together in an event, or beside a correction
    "no-edition-in-force",
    "no-limb",  # the legs of the episode
    "no-such-proof",  # the size of the log
    "nothing-left",  # the episode
    "out-of-range",  # a day before 1900
    "outside-calendar",  # a review after the last bank holiday known
    "patient-number-refused",  # ten digits, with separators between them
    "range-out-of-order",  # two numbers against one another
    "too-many-decimals",  # see request_schema.py
    "unknown-card",  # the decisions of the log
    "unknown-decision",  # the decisions of the episode
    "unknown-edition",
}


@schemathesis.check
def refused_only_for_what_a_schema_cannot_say(
    _context: CheckContext, response: Response, case: Case[Any]
) -> bool | None:
    meta = case.meta
    if response.status_code not in (400, 422) or meta is None or meta.generation.mode.is_negative:
        return None
    if case.operation.path == "/cds-services/{service}":
        return None  # what a FHIR resource must be, and which hook is whose, stands elsewhere
    codes = {entry["code"] for entry in response.json()["errors"]}
    if response.status_code == 400:
        assert codes == ({"bad-header"} if case.operation.path.startswith("/v1/drafts") else BAD_KEY)
        return None
    assert codes <= BEYOND_A_SCHEMA, f"a request that fits the description was refused: {codes}"
    return None
