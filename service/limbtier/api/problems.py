"""The one catalogue of problems: every type of error answer (RFC 9457); `findings` has what stands inside.

`openapi/problem-types.md` and the pages under `/problems` are written from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from limbtier.api.findings import FINDINGS as FINDINGS  # noqa: PLC0414 - the other half of the catalogue

MEDIA_TYPE: Final = "application/problem+json"


@dataclass(frozen=True, slots=True)
class ProblemType:
    """One type of error answer. `code` ends its `type`, a reference relative to the service; `title` and
    `status` never vary; `meaning` and `advice` are for whoever meets it."""

    code: str
    title: str
    status: int
    meaning: str
    advice: str

    @property
    def type(self) -> str:
        """The `type` member: where this type is documented, relative to the service."""
        return f"/problems/{self.code}"


_NO_TIER: Final = "No decision was made and nothing was stored. Take no tier from it; decide by local policy."

PROBLEM_TYPES: Final[Mapping[str, ProblemType]] = {
    entry.code: entry
    for entry in (
        ProblemType(
            "malformed-request",
            "The request is malformed",
            400,
            "The request is no proper HTTP: a header contradicts itself or cannot be read.",
            "Correct the client. Proxies that rewrite headers are a common cause.",
        ),
        ProblemType(
            "not-json",
            "The body is not JSON",
            400,
            "The body is no JSON text in UTF-8 that has one meaning. Keys that stand twice, NaN, infinities, "
            "numbers beyond any measurement, halves of characters and needlessly deep nesting are refused, "
            "because two programs could read them differently.",
            "Send one JSON object, written by a JSON library.",
        ),
        ProblemType(
            "idempotency-key-missing",
            "The request has no key",
            400,
            "This service is set to take decisions only with the header `Idempotency-Key`, so that a "
            "request that is sent twice is decided once. " + _NO_TIER,
            'Send a key of your own, in quotation marks, such as `Idempotency-Key: "0b7a4f6e-6a0c"`; a fresh '
            "UUID for each new request is best.",
        ),
        ProblemType(
            "unauthorised",
            "The request has no token that is accepted",
            401,
            "Every resource but health and documentation needs the header `Authorization: Bearer` with a "
            "local key or a signed token. It is missing, cannot be read, or the token is not accepted; which "
            "of the many ways in which a token can be wrong it was is told only in the log of the service. "
            + _NO_TIER,
            "Send a key that was made with `limbtier keys add` and is not revoked, or a token of the issuer "
            "that the service is set up with, for its audience, before it expires.",
        ),
        ProblemType(
            "insufficient-scope",
            "The token is not good for this",
            403,
            "The caller is known, but its token lacks the scope that this resource needs. That it was asked "
            "for is written into the log. " + _NO_TIER,
            "Use a token with the scope that the answer names, or ask whoever runs the service for one. "
            "Scopes are `decide`, `read`, `edit`, `approve` and `audit`.",
        ),
        ProblemType(
            "unknown-route",
            "There is nothing at this address",
            404,
            "No part of the service answers at this path.",
            "Compare the path with the description of the API at `/docs` or `/openapi.json`.",
        ),
        ProblemType(
            "not-found",
            "There is no such thing",
            404,
            "The path is right, but it names a decision, an edition or a problem type that is not here.",
            "Compare the name. `/v1/editions` lists the editions; decisions are found by the id they were "
            "given with, and previews are not stored.",
        ),
        ProblemType(
            "method-not-allowed",
            "This address does not take that method",
            405,
            "The path exists, but not for this method.",
            "Use one of the methods in the header `Allow`.",
        ),
        ProblemType(
            "not-acceptable",
            "There is no such form of this",
            406,
            "What is at this address has none of the forms that the header `Accept` takes.",
            "Ask for a form that the description of the API names, or leave the header out.",
        ),
        ProblemType(
            "edition-unavailable",
            "The edition that made this decision is not here",
            409,
            "A stored decision can only be made again or explained by the very edition that made it, and the "
            "service does not have that edition with that digest. The stored decision itself can be read.",
            "Ask whoever runs the service to put the rule files of that edition back, unchanged.",
        ),
        ProblemType(
            "step-refused",
            "The step cannot be taken as things are",
            409,
            "An edition goes from draft to checked, proved, approved and released, and something of that is "
            "missing, or stands against this step. `errors` names every reason. Nothing was changed.",
            "Do what `errors` says, in its order, then take the step again.",
        ),
        ProblemType(
            "precondition-failed",
            "The draft is not the one that you have seen",
            412,
            "Somebody saved or discarded the draft since it was read with that ETag, or it is there "
            "already. Nothing was changed.",
            "Read the draft again, look at what changed, and decide anew with its ETag.",
        ),
        ProblemType(
            "request-in-progress",
            "A request with this key is being answered",
            409,
            "Another request with the same `Idempotency-Key` has not been answered yet.",
            "Wait a moment and send the same request with the same key again.",
        ),
        ProblemType(
            "prefetch-missing",
            "What the service needs was not sent along",
            412,
            "A CDS Hooks service works from prefetched data alone, never from the client's FHIR server. The "
            "assessment is missing, its query failed, or the page that was sent may not hold the newest one. "
            + _NO_TIER,
            "Send, under its key, what the query of `/cds-services` gives; null when there is nothing.",
        ),
        ProblemType(
            "body-too-large",
            "The body is too large",
            413,
            "The body is longer than this service accepts. The rest of it was not read, and the connection "
            "is closed.",
            "Send one assessment a request. A full assessment of both legs takes a few kilobytes.",
        ),
        ProblemType(
            "unsupported-media-type",
            "The body is of the wrong kind",
            415,
            "The body is not declared as plain JSON in UTF-8.",
            "Send the header `Content-Type: application/json` and an uncompressed body in UTF-8.",
        ),
        ProblemType(
            "invalid-draft",
            "What was sent cannot be a draft, or a step of one",
            422,
            "The body is JSON, but it is no edition's files, or holds something that a step does not take. "
            "`errors` names every place. Nothing was changed. What the rule files themselves say is judged "
            "later, by the check of the draft.",
            "Correct the fields that `errors` names and send the request again.",
        ),
        ProblemType(
            "precondition-required",
            "The request does not say which state it is made for",
            428,
            "Drafts are changed, approved, released and discarded only with a header that says which state "
            "of the draft the caller has seen, so that nobody overwrites or approves what is not read.",
            "Send `If-Match` with the ETag that the draft was read with; for a new one, `If-None-Match: *`.",
        ),
        ProblemType(
            "invalid-assessment",
            "The assessment has answers that cannot be used",
            422,
            "The body is JSON, but some of it cannot be used. `errors` names every such field, each with "
            "what to send instead. Nothing is converted, guessed or dropped. No decision was made and "
            "nothing was stored.",
            "Correct the fields that `errors` names and send the request again.",
        ),
        ProblemType(
            "invalid-hook-request",
            "The call of the CDS Hooks service cannot be used",
            422,
            "The body is JSON, but no call of this service as CDS Hooks 2.0 and the hook describe it. "
            + _NO_TIER,
            "Correct what `errors` names.",
        ),
        ProblemType(
            "invalid-feedback",
            "The feedback cannot be used",
            422,
            "The body is JSON, but no feedback on cards of this organisation as CDS Hooks 2.0 describes it. "
            "Nothing of it was kept.",
            "Correct what `errors` names and send all of it again.",
        ),
        ProblemType(
            "idempotency-key-reused",
            "The key was used for another request",
            422,
            "A request with the same `Idempotency-Key` but another body was answered before. " + _NO_TIER,
            "Use a new key for each new request, and the same key only to repeat the same request.",
        ),
        ProblemType(
            "invalid-query",
            "The query part of the address cannot be used",
            422,
            "A query parameter is unknown here, stands twice, or has the wrong form. It is refused because "
            "leaving it unread could give an answer to another question than the one asked.",
            "Correct or remove the parameters that `errors` names.",
        ),
        ProblemType(
            "unsupported-by-prover",
            "The prover cannot read this edition",
            422,
            "The edition holds something that has no formula, so nothing is proved about it and no behaviour "
            "compared. `errors` says what. Nothing was passed over.",
            "Prove another edition, or take out of this one what `errors` names.",
        ),
        ProblemType(
            "engines-disagree",
            "The two engines disagree",
            500,
            "Every assessment is read by two independent engines. They named different rules for this one. "
            + _NO_TIER,
            "Report it, with the `instance` of the answer, to whoever runs the service.",
        ),
        ProblemType(
            "guard-rail-broken",
            "The decision would break a guard rail",
            500,
            "The rule files gave a decision that breaks a safety property which no edition may break. "
            + _NO_TIER,
            "Report it, with the `instance` of the answer, to whoever runs the service.",
        ),
        ProblemType(
            "internal-error",
            "Something went wrong inside the service",
            500,
            "The service failed in a way that nobody foresaw. Take no tier from it; decide by local policy.",
            "Report it, with the `instance` of the answer, to whoever runs the service; the log has the rest "
            "under that name.",
        ),
        ProblemType(
            "work-failed",
            "The work on the edition failed",
            500,
            "Checking, proving, comparing or measuring failed in a way that nobody foresaw. It says nothing "
            "about the edition.",
            "Ask again in two minutes: it is begun anew. If it stays, report the `instance` of the answer.",
        ),
        ProblemType(
            "too-much-work",
            "Too much long work waits already",
            503,
            "Checks, proofs, comparisons and impacts are worked out one after another, and several wait "
            "already. Decisions are not held up by them.",
            "Ask again after the seconds of the header `Retry-After`.",
        ),
        ProblemType(
            "store-unavailable",
            "The store of decisions is unavailable",
            503,
            "The decision could not be stored, so it is not given; or a stored one could not be read.",
            "Try again. A preview needs no store. If it stays, tell whoever runs the service.",
        ),
        ProblemType(
            "not-ready",
            "The service is not ready",
            503,
            "The service is running but cannot make and store decisions now. `errors` says why.",
            "Send requests elsewhere until `/health/ready` answers 200.",
        ),
    )
}


def problem_types_text() -> str:
    """The catalogue as Markdown, for `openapi/problem-types.md`."""
    lines = [
        "# Problems that the API reports",
        "",
        "Written by `limbtier openapi` from `service/limbtier/api/problems.py`; change it there.",
        "",
        "Every error answer is problem details (RFC 9457, `application/problem+json`): `type`, `title`,",
        "`status`, `detail`, for faults of the service an `instance` that its log also names, and `errors`,",
        "which names everything wrong at once. Each entry of `errors` has a `code`, where it can be shown a",
        "`pointer` (a JSON pointer, RFC 6901, into the request, as a URI fragment), a `detail`, and a `help`",
        "that says what to do. No error answer contains a decision.",
        "",
        "## Types",
        "",
    ]
    for entry in PROBLEM_TYPES.values():
        lines += [
            f"### `{entry.type}`",
            "",
            f'{entry.status}, "{entry.title}"',
            "",
            entry.meaning,
            "",
            f"What to do: {entry.advice}",
            "",
        ]
    lines += ["## Codes in `errors`", "", "| code | meaning | what to do |", "|---|---|---|"]
    lines += [f"| `{one.code}` | {one.meaning} | {one.advice} |" for one in FINDINGS.values()]
    return "\n".join(lines) + "\n"
