"""The description of the API (OpenAPI 3.1), generated from its routes and from the edition in force."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import orjson
from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from limbtier import __version__
from limbtier.api.bearer import SECURITY_SCHEMES
from limbtier.api.cds_hooks_schema import (
    CdsCall,
    CdsCards,
    CdsFeedback,
    CdsServices,
    FeedbackKept,
    FeedbackSummary,
)
from limbtier.api.decision_schema import Preview, StoredDecision
from limbtier.api.episode_schema import Episode, StoredEvent, event_request_schemas
from limbtier.api.examples import Example, examples_of
from limbtier.api.findings import FINDINGS
from limbtier.api.governance_schema import CheckResult, Comparison, ImpactResult, ProofList, Work
from limbtier.api.health_resources import Live, Ready
from limbtier.api.log_schema import (
    ConsistencyProof,
    DecisionPage,
    Explanation,
    InclusionProof,
    Replay,
)
from limbtier.api.operations import JSON
from limbtier.api.problem_responses import MOST_ERRORS
from limbtier.api.problems import PROBLEM_TYPES, problem_types_text
from limbtier.api.release_schema import MODELS as RELEASE_MODELS
from limbtier.api.request_schema import request_schemas
from limbtier.api.review_schema import CaseloadPicture, DueList, VisitScenarioShown
from limbtier.api.rule_schema import EditionDetail, EditionList, RuleList, Vocabulary
from limbtier.api.schema_types import schemas_of
from limbtier.domain.pathway import Pathway
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.clock import Clock
from limbtier.use_cases.decide import Decider, ReadyRules

TITLE: Final = "limbtier"
SUMMARY: Final = "Starting tiers of compression and review dates, decided by versioned rule files"
DESCRIPTION: Final = """\
Send an assessment of a lower leg; get the tier of compression to start on today, what would let it go higher,
the day of the review, and the reasons with their sources.

It supports a decision. Local policy and a licensed clinician decide. An error answer contains no decision.

- An answer left out means "not recorded", never "no". What was not asked never raises a tier or delays a
  review.
- A measurement that was asked for and not done is `"not_done"`.
- Bodies are read strictly: unknown fields, null, numbers as text and `"yes"` for a flag are refused, and
  every bad field is named at once.
- Everything but health and documentation needs a bearer token (RFC 6750); each operation names the scopes of
  which it needs one.
- Every error is problem details (RFC 9457); the types are at `/problems`.
- How to connect a form, step by step, with examples: [/docs/integrators](docs/integrators).
- Below `/fhir` the service speaks HL7 FHIR R4; what it takes and gives is described at `/fhir/metadata`.

All examples are invented.
"""
TAGS: Final = [
    {"name": "decisions", "description": "An assessment in, a decision out."},
    {"name": "episodes", "description": "What is known between contacts, and what happened between them."},
    {"name": "reviews", "description": "Who needs somebody, since when, and how a caseload goes."},
    {
        "name": "log",
        "description": "The log of all that happened, and the proofs that nothing of it changed.",
    },
    {
        "name": "cds-hooks",
        "description": "The same decisions as cards (HL7 CDS Hooks 2.0), and feedback on them.",
    },
    {"name": "editions", "description": "Drafts of editions, and how two people release them."},
    {"name": "rules", "description": "What may be asked, and by which rules it is decided."},
    {"name": "governance", "description": "What the governance team reads of an edition before it signs."},
    {"name": "health", "description": "For whoever runs the service."},
    {"name": "documentation", "description": "This description, and the problem types."},
]


class Description:
    """The description of one application; written anew when the rules were swapped."""

    def __init__(self, app: FastAPI, decider: Decider, clock: Clock, pathway: Callable[[], Pathway]) -> None:
        self._app = app
        self._pathway = pathway
        self._decider = decider
        self._clock = clock
        self._written: tuple[ReadyRules, PreparedEdition, dict[str, Any], bytes] | None = None

    def document(self) -> dict[str, Any]:
        """As a mapping."""
        return self._current()[2]

    def text(self) -> bytes:
        """As JSON."""
        return self._current()[3]

    def _current(self) -> tuple[ReadyRules, PreparedEdition, dict[str, Any], bytes]:
        rules = self._decider.rules
        latest = max(rules.editions.values(), key=lambda one: one.edition.effective_from)
        shown = rules.edition(None, self._clock()) or latest
        written = self._written
        if written is None or written[0] is not rules or written[1] is not shown:
            document = _document(self._app, rules, shown, self._pathway())
            written = self._written = (rules, shown, document, orjson.dumps(document))
        return written


def write_openapi(app: FastAPI, file: Path) -> None:
    """Write the description of the API to a file, and `problem-types.md` beside it."""
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(openapi_file(app))
    (file.parent / "problem-types.md").write_text(problem_types_text(), encoding="utf-8", newline="\n")


def openapi_file(app: FastAPI) -> bytes:
    """The description as it stands in a file: indented, with a last line break."""
    return orjson.dumps(app.openapi(), option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)


def _document(app: FastAPI, rules: ReadyRules, prepared: PreparedEdition, pathway: Pathway) -> dict[str, Any]:
    document = get_openapi(
        title=TITLE,
        version=__version__,
        summary=SUMMARY,
        description=DESCRIPTION,
        license_info={"name": "Apache-2.0"},
        servers=[{"url": "/", "description": "This service."}],
        tags=TAGS,
        routes=app.routes,
    )
    document["components"] = {
        "schemas": _schemas(rules, prepared, pathway),
        "securitySchemes": SECURITY_SCHEMES,
    }
    _add_examples(document, examples_of(rules, prepared, 2))
    return document


def _schemas(rules: ReadyRules, prepared: PreparedEdition, pathway: Pathway) -> dict[str, Any]:
    calendars = rules.calendars.values()
    deciding = [name for name, one in rules.editions.items() if one.edition.status != "retired"]
    first_rules = min(one.edition.effective_from for one in rules.editions.values())
    first_holidays = min(one.first for one in calendars)
    years = (max(first_rules, first_holidays).year, max(one.last for one in calendars).year)
    found = {
        **request_schemas(prepared.edition.vocabulary, deciding, rules.calendars, years),
        **schemas_of(StoredDecision, Preview, DecisionPage, Replay, Explanation),
        **schemas_of(InclusionProof, ConsistencyProof),
        **schemas_of(Work, CheckResult, ProofList, Comparison, ImpactResult),
        **schemas_of(*RELEASE_MODELS),
        **schemas_of(CdsServices, CdsCall, CdsCards, CdsFeedback, FeedbackKept, FeedbackSummary),
        **schemas_of(Vocabulary, EditionList, EditionDetail, RuleList, Live, Ready),
        **schemas_of(Episode, StoredEvent),
        **schemas_of(DueList, CaseloadPicture, VisitScenarioShown),
        **event_request_schemas(prepared.edition, pathway),
        "Tier": {
            "type": "string",
            "description": "A tier, lowest first.",
            "enum": [tier.name for tier in prepared.edition.tiers],
        },
        "Problem": problem_schema(),
        "AnyObject": {"type": "object", "description": "Any JSON object."},
    }
    return dict(sorted(found.items()))


def problem_schema() -> dict[str, Any]:
    """The schema of problem details as this service sends them (RFC 9457)."""
    text = {"type": "string", "maxLength": 4000}
    return {
        "type": "object",
        "description": "What is wrong (RFC 9457). It never contains a decision.",
        "additionalProperties": False,
        "required": ["type", "title", "status", "detail", "errors"],
        "properties": {
            "type": {
                "type": "string",
                "format": "uri-reference",
                "enum": [kind.type for kind in PROBLEM_TYPES.values()],
                "description": "Where this type is documented, relative to the service.",
            },
            "title": {**text, "description": "The same for every problem of this type."},
            "status": {"type": "integer", "minimum": 400, "maximum": 599},
            "detail": {**text, "description": "What is wrong this time."},
            "instance": {
                **text,
                "format": "uri-reference",
                "description": "Names this occurrence when the service is at fault; its log has it too.",
            },
            "errors": {
                "type": "array",
                "minItems": 1,
                "maxItems": MOST_ERRORS,
                "description": "Everything that is wrong.",
                "items": {
                    "type": "object",
                    "additionalProperties": False,
                    "required": ["code", "detail", "help"],
                    "properties": {
                        "code": {"type": "string", "enum": list(FINDINGS)},
                        "pointer": {
                            "type": "string",
                            "pattern": "^#(/.*)?$",
                            "description": "A JSON pointer into the request, as a URI fragment (RFC 6901).",
                        },
                        "detail": text,
                        "help": {**text, "description": "What to do instead."},
                    },
                },
            },
        },
        "examples": [
            {
                "type": "/problems/invalid-assessment",
                "title": PROBLEM_TYPES["invalid-assessment"].title,
                "status": 422,
                "detail": "`calendar` is missing.",
                "errors": [
                    {
                        "code": "missing-field",
                        "pointer": "#/calendar",
                        "detail": "`calendar` is missing.",
                        "help": "Give it; see the request's schema.",
                    }
                ],
            }
        ],
    }


def _add_examples(document: dict[str, Any], examples: list[Example]) -> None:
    if not examples:
        return
    paths = document["paths"]
    stored_nowhere = {"id": None, "kind": "preview", "caller": None}
    for path, status, changes in (("/v1/previews", "200", stored_nowhere), ("/v1/decisions", "201", {})):
        operation = paths[path]["post"]
        operation["requestBody"]["content"][JSON]["examples"] = {
            one.name: {"summary": "Invented", "description": f"Invented. {one.story}", "value": one.request}
            for one in examples
        }
        operation["responses"][status]["content"][JSON]["examples"] = {
            one.name: {
                "summary": "Invented, shortened",
                "description": f"Invented. {one.story} Of every list the first entries are shown.",
                "value": {**one.answer, **changes},
            }
            for one in examples[:1]
        }
