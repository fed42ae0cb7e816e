"""The schemas of CDS Hooks calls, cards and feedback, as this service uses them (CDS Hooks 2.0)."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, RootModel

from limbtier.api.schema_types import Count, Described, EditionId, Line, Moment, RuleId, Words, left_out
from limbtier.domain.card_words import LONGEST_SUMMARY, Indicator
from limbtier.interop.cds_hooks.feedback import LONGEST_COMMENT, MOST_ENTRIES, MOST_SUGGESTIONS
from limbtier.interop.cds_hooks.hook_request import LONGEST_TEXT, MOST_SELECTIONS

CARD_PATTERN = "^[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$"
INSTANCE_PATTERN = "^(urn:uuid:)?[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}$"
PATIENT_ID_PATTERN = "^[A-Za-z0-9.-]{1,64}$"
MOMENT_PATTERN = (
    "^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}([.][0-9]{1,9})?(Z|[+-][0-9]{2}:[0-9]{2})$"
)
Text = Annotated[str, Field(max_length=LONGEST_TEXT)]
Uuid = Annotated[str, Field(pattern="^[0-9a-f-]{36}$", max_length=36)]
Address = Annotated[str, Field(max_length=2000, json_schema_extra={"format": "uri"})]


class CdsService(Described):
    """One service. Call it when its hook is triggered, with the answer to each query of `prefetch`."""

    hook: Literal["patient-view", "order-select"]
    title: Line
    description: Words
    id: Annotated[str, Field(pattern="^[a-z-]+$", max_length=80)]
    prefetch: dict[str, Words]
    usageRequirements: Words  # noqa: N815 - the name of the standard


class CdsServices(Described):
    """The services of this server."""

    services: Annotated[list[CdsService], Field(max_length=20)]


class Coding(Described):
    """A code with its system."""

    code: Line
    system: Address
    display: Line


class DraftOrder(BaseModel):
    """A FHIR R4 ServiceRequest: a draft in words, to be checked and signed."""

    model_config = ConfigDict(extra="allow")

    resourceType: Literal["ServiceRequest"]  # noqa: N815
    status: Literal["draft"]
    intent: Literal["proposal"]


class CardAction(Described):
    """Something the client may do when the suggestion is accepted."""

    type: Literal["create"]
    description: Words
    resource: DraftOrder


class CardSuggestion(Described):
    """Drafts of the review and of what is to be arranged."""

    label: Line
    uuid: Uuid
    actions: Annotated[list[CardAction], Field(min_length=1, max_length=100)]


class CardSource(Described):
    """What the card rests on: the edition. `url` is left out where the address of the service is not set."""

    label: Line
    url: Address = left_out()
    topic: Coding


class CdsCard(Described):
    """One leg, the one with a danger sign first. A card that only says that there is no assessment has no
    `uuid` and offers nothing."""

    uuid: Uuid = left_out()
    summary: Annotated[str, Field(min_length=1, max_length=LONGEST_SUMMARY)]
    detail: Annotated[str, Field(max_length=100_000, description="GitHub Flavored Markdown.")]
    indicator: Indicator
    source: CardSource
    suggestions: Annotated[list[CardSuggestion], Field(min_length=1, max_length=1)] = left_out()
    selectionBehavior: Literal["at-most-one"] = left_out()  # noqa: N815
    overrideReasons: Annotated[list[Coding], Field(min_length=1, max_length=100)] = left_out()  # noqa: N815
    extension: dict[str, Any] = Field(
        default_factory=dict,
        description="The decision, its edition, the leg and the rules the tier rests on.",
    )


class CdsCards(Described):
    """The answer to a call. No card means that there is nothing to say, never that all is well."""

    cards: Annotated[list[CdsCard], Field(max_length=2)]


class _Open(BaseModel):
    """Base of what clients send: other members are allowed and not read."""

    model_config = ConfigDict(extra="allow")


class PatientContext(_Open):
    """Who looks at whom."""

    userId: Text  # noqa: N815 - the names of the standard
    patientId: Annotated[str, Field(pattern=PATIENT_ID_PATTERN, max_length=64)]  # noqa: N815


class Drafts(_Open):
    """A FHIR Bundle of drafted orders, which are not read."""

    resourceType: Literal["Bundle"]  # noqa: N815


class OrderContext(PatientContext):
    """Who orders something for whom."""

    selections: Annotated[list[Text], Field(max_length=MOST_SELECTIONS)]
    draftOrders: Drafts  # noqa: N815


class Prefetched(_Open):
    """What the queries of discovery gave: a Bundle, one resource, or null where the client found none."""

    assessment: dict[str, Any] | None = left_out()
    observations: dict[str, Any] | None = left_out()


class _Call(_Open):
    hookInstance: Annotated[str, Field(pattern=INSTANCE_PATTERN, max_length=45)]  # noqa: N815
    prefetch: Prefetched = left_out()
    fhirServer: Text = Field(default_factory=str, description="Never used.")  # noqa: N815


class PatientViewCall(_Call):
    """A chart was opened."""

    hook: Literal["patient-view"]
    context: PatientContext


class OrderSelectCall(_Call):
    """An order for compression was selected."""

    hook: Literal["order-select"]
    context: OrderContext


class CdsCall(RootModel[PatientViewCall | OrderSelectCall]):
    """The call of a service, for the hook of that service."""


class ChosenReason(_Open):
    """A reason of the card, or one of the client's own."""

    code: Text
    system: Text = left_out()


class OverrideReason(_Open):
    """Why a card was not followed. A comment is never kept."""

    reason: ChosenReason = left_out()
    userComment: Annotated[str, Field(max_length=LONGEST_COMMENT)] = left_out()  # noqa: N815


class AcceptedSuggestion(_Open):
    """A suggestion, by its `uuid`."""

    id: Text


class _Entry(_Open):
    card: Annotated[str, Field(pattern=CARD_PATTERN, max_length=36)]
    outcomeTimestamp: Annotated[  # noqa: N815
        str, Field(pattern=MOMENT_PATTERN, max_length=40, description="As RFC 3339 writes it.")
    ]
    overrideReason: OverrideReason = left_out()  # noqa: N815


class AcceptedCard(_Entry):
    """A card of which a suggestion was accepted."""

    outcome: Literal["accepted"]
    acceptedSuggestions: Annotated[  # noqa: N815
        list[AcceptedSuggestion], Field(min_length=1, max_length=MOST_SUGGESTIONS)
    ]


class OverriddenCard(_Entry):
    """A card that was not followed."""

    outcome: Literal["overridden"]


class CdsFeedback(_Open):
    """Feedback on cards."""

    feedback: Annotated[list[AcceptedCard | OverriddenCard], Field(min_length=1, max_length=MOST_ENTRIES)]


class FeedbackKept(Described):
    """How many entries are new in the log, and how many it had."""

    kept: Count
    kept_before: Count


class FeedbackCounts(Described):
    """Cards with feedback; each counts once, with its latest outcome. `reasons` of those overridden."""

    cards: Count
    accepted: Count
    overridden: Count
    reasons: dict[str, Count]


class RuleFeedback(FeedbackCounts):
    """The cards whose tier rested on a rule of an edition."""

    rule: RuleId
    edition: EditionId


class FeedbackSummary(FeedbackCounts):
    """The feedback on the cards of the caller's organisation, the rule overridden most often first."""

    organisation: Line
    since: Moment | None
    before: Moment | None
    rules: Annotated[list[RuleFeedback], Field(max_length=100_000)]
    reason_words: dict[str, Line]


__all__ = ["CdsCall", "CdsCards", "CdsFeedback", "CdsServices", "FeedbackKept", "FeedbackSummary"]
