"""The schemas of episodes and their events, as `use_cases/read_episode.py` and `keep_event.py` write them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from limbtier.api.decision_schema import Caller, Disposition, LiftedLimit, PathwayUsed, WatchFlag
from limbtier.api.request_schema import DAY_PATTERN, input_schema
from limbtier.api.schema_types import (
    DECISION_ID_PATTERN,
    Count,
    Day,
    Described,
    Line,
    Moment,
    Name,
    Tier,
    left_out,
)
from limbtier.domain.edition import Edition
from limbtier.domain.episode_state import TIERS
from limbtier.domain.pathway import Pathway
from limbtier.domain.vocabulary import Vocabulary
from limbtier.use_cases.event_request import MISSED, REMOVED, SHAPES, TIME_PATTERN

TierOnLeg = Annotated[Line | None, Field(description="`none` or a tier; null while it is not known.")]
KeptValue = Line | Annotated[list[Line], Field(max_length=40)]


class KnownValue(Described):
    """A value, the day it was given, and the id of the decision or event that it comes from."""

    value: KeptValue
    on: Day
    entry: Line


class KeptAnswer(KnownValue):
    """An answer that need not be asked again while it is kept."""

    input: Name


class ArrangementOfEpisode(Described):
    """Something arranged, by when, and what settled it."""

    what: Name
    asked_on: Day
    due_on: Day
    settled_on: Day | None
    settled_by: Line | None


class LimbOfEpisode(Described):
    """One leg of an episode, after its last contact or event."""

    first_contact_on: Day
    last_contact_on: Day
    review_due_on: Day | None
    disposition: Line
    current_tier: TierOnLeg
    current_tier_since: Day | None
    unsettled_on: Annotated[
        Day | None, Field(description="A decision waited for answers then; what was put back is not known.")
    ]
    compression_started_on: Day | None
    start_wound_area_cm2: KnownValue | None
    last_wound_area_cm2: KnownValue | None
    start_girth_series_cm: KnownValue | None
    last_girth_series_cm: KnownValue | None
    support_decisions: Annotated[Count, Field(description="Decisions at support in a row.")]
    progress: KnownValue | None
    tier_drops: Count
    missed_reviews: Count
    limits: Annotated[list[LiftedLimit], Field(max_length=1000, description="Those of its last decision.")]
    arrangements: Annotated[list[ArrangementOfEpisode], Field(max_length=1000)]
    kept: Annotated[list[KeptAnswer], Field(max_length=1000)]


class LimbsOfEpisode(Described):
    """The legs that were assessed."""

    left: LimbOfEpisode = left_out()
    right: LimbOfEpisode = left_out()


class LimbOfPart(Described):
    """What a contact decided for a leg."""

    tier: Tier
    disposition: Disposition
    on_arrival: TierOnLeg
    review_due_on: Day


class LimbsOfPart(Described):
    """The legs of a contact."""

    left: LimbOfPart = left_out()
    right: LimbOfPart = left_out()


class PartOfEpisode(Described):
    """A contact or an event; one that was corrected counts no longer."""

    entry: Annotated[Line, Field(description="Its id.")]
    kind: Name
    at: Annotated[Moment, Field(description="Its place in time.")]
    on: Day
    corrects: Line | None
    corrected_by: Line | None
    limb: Literal["left", "right"] | None
    limbs: LimbsOfPart


class Episode(Described):
    """An episode: what is known, what is to be seen to today, and its last contacts and events."""

    kind: Literal["episode"]
    reference: Line
    opened_on: Day
    closed_on: Day | None
    closed_as: Line | None
    calendar: Name
    contacts: Count
    events: Count
    today: Day
    review_due_on: Day | None
    kept: Annotated[list[KeptAnswer], Field(max_length=1000, description="Kept answers of the person.")]
    limbs: LimbsOfEpisode
    pathway: PathwayUsed
    watch: Annotated[list[WatchFlag], Field(max_length=1000)]
    history: Annotated[list[PartOfEpisode], Field(max_length=100, description="The last to arrive first.")]
    history_left_off: Annotated[Count, Field(description="Earlier ones that are not shown.")]


class EventAnswer(Described):
    """An answer that an event carries, as text."""

    input: Name
    value: KeptValue


class EventDetail(Described):
    """What happened."""

    kind: Annotated[Literal[tuple(SHAPES)], Field()]  # type: ignore[valid-type]
    happened_on: Day
    time: Line | None
    limb: Literal["left", "right"] | None
    person: Annotated[list[EventAnswer], Field(max_length=1000)]
    answers: Annotated[list[EventAnswer], Field(max_length=1000, description="About the leg.")]
    tier: Line | None
    reason: Line | None
    arrangement: Line | None
    corrects: Line | None


class StoredEvent(Described):
    """An event that was stored before it was answered: these very bytes are the entry of the log."""

    kind: Literal["episode_event"]
    id: Annotated[str, Field(pattern=DECISION_ID_PATTERN, max_length=36)]
    at: Moment
    placed_at: Annotated[Moment, Field(description="Its place among contacts and other events.")]
    caller: Caller
    edition: Annotated[Line, Field(description="The edition by whose words it was read.")]
    episode: Line
    event: EventDetail
    received: Annotated[str, Field(max_length=1_000_000)]


def event_request_schemas(edition: Edition, pathway: Pathway) -> dict[str, dict[str, Any]]:
    """What an event takes: `EpisodeEvent`, an alternative for each kind, and each of them by a name of its
    own, because generators of clients make a type of what has a name."""
    fields = _fields(sorted(edition.arrangements))
    answered = {kind: one.inputs for kind, one in pathway.events.items()}
    named = {
        f"{''.join(word.capitalize() for word in kind.split('_'))}Event": _of_kind(
            kind, fields, edition.vocabulary, answered.get(kind, ())
        )
        for kind in SHAPES
    }
    return {
        "EpisodeEvent": {
            "description": "Something that happened between contacts. Every kind takes its own fields.",
            "oneOf": [{"$ref": f"#/components/schemas/{name}"} for name in named],
        },
        **named,
    }


def _fields(arrangements: list[str]) -> dict[str, Any]:
    return {
        "limb": {"type": "string", "enum": ["left", "right"]},
        "tier": {"type": "string", "enum": list(TIERS[1:])},
        "arrangement": {"type": "string", "enum": arrangements},
        "corrects": {
            "type": "string",
            "pattern": DECISION_ID_PATTERN,
            "maxLength": 36,
            "description": "The id of an event that this one corrects; that one counts no longer.",
        },
    }


def _of_kind(
    kind: str, fields: dict[str, Any], vocabulary: Vocabulary, inputs: tuple[str, ...]
) -> dict[str, Any]:
    shape = SHAPES[kind]
    own = dict(fields)
    own["reason"] = {
        "type": "string",
        "enum": list(MISSED if kind == "review_missed" else REMOVED),
    }
    for name, scope in (("person", "person"), ("answers", "limb")):
        own[name] = {
            "type": "object",
            "additionalProperties": False,
            "properties": {
                one: input_schema(vocabulary.inputs[one])
                for one in inputs
                if vocabulary.inputs[one].scope == scope
            },
        }
    return {
        "type": "object",
        "description": f"An event of the kind `{kind}`.",
        "additionalProperties": False,
        "required": ["kind", "happened_on", *shape.needs],
        "properties": {
            "kind": {"type": "string", "enum": [kind]},
            "happened_on": {
                "type": "string",
                "format": "date",
                "pattern": DAY_PATTERN,
                "maxLength": 10,
                "description": "Not in the future, and not before the first contact.",
            },
            "time": {
                "type": "string",
                "pattern": TIME_PATTERN,
                "maxLength": 5,
                "description": "By United Kingdom clocks; without it the event comes last on its day.",
            },
            **{name: own[name] for name in shape.takes},
        },
    }
