"""What is known of an episode: the contacts and events that make it up, and what they come to.

An answer is kept as text: `yes` and `no`, a choice, a number in lowest terms (`5/2`), a day, `not_done`; a
series of numbers as several texts. So a state reads alike whatever vocabulary the next contact is decided by.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from fractions import Fraction
from typing import Final, Literal

from limbtier.domain.assessment import Answer, Side

Stored = str | tuple[str, ...]
Answered = Mapping[str, Stored]

TIERS: Final = ("withhold", "support", "mild", "moderate", "strong")
"""The tiers, lowest first. On a leg, `none` and `withhold` both mean that nothing is on."""

EventKind = Literal[
    "arterial_result_received",
    "advice_given",
    "referral_accepted",
    "arrangement_done",
    "review_missed",
    "compression_removed",
    "compression_applied",
    "healed",
    "died",
    "moved_away",
    "entered_in_error",
]
CLOSING: Final = ("healed", "died", "moved_away")
"""Events that close an episode."""


@dataclass(frozen=True, slots=True)
class Held:
    """A limit that counted at a decision."""

    rule: str
    tier: str
    until: str | None


@dataclass(frozen=True, slots=True)
class Arranged:
    """Something that a decision arranged, and by when."""

    what: str
    due_on: date


@dataclass(frozen=True, slots=True)
class LimbContact:
    """One leg of a contact: what was answered at it (not what was completed), and what was decided.

    `on_arrival` is the tier that the decision took to be on the leg, None where it was not recorded;
    `area_cm2` the area of the wound, or `not_done`, None where undetermined; `arranged` what is due.
    """

    answers: Answered
    on_arrival: str | None
    tier: str
    disposition: str
    review_due_on: date
    area_cm2: str | None = None
    limits: tuple[Held, ...] = ()
    arranged: tuple[Arranged, ...] = ()


@dataclass(frozen=True, slots=True)
class Contact:
    """A decision as a part of its episode. `at` is when the person was seen and `on` that day; `corrects`
    names an earlier part that counts no longer."""

    id: str
    at: datetime
    on: date
    calendar: str
    person: Answered
    limbs: Mapping[Side, LimbContact]
    corrects: str | None = None


@dataclass(frozen=True, slots=True)
class EpisodeEvent:
    """Something that happened between contacts. `at` places it among them, `on` is the day it happened.
    `person` and `limb_answers` are what is known from then on; the rest belongs to some kinds only."""

    id: str
    kind: EventKind
    at: datetime
    on: date
    limb: Side | None = None
    person: Answered = field(default_factory=dict)
    limb_answers: Answered = field(default_factory=dict)
    tier: str | None = None
    reason: str | None = None
    arrangement: str | None = None
    corrects: str | None = None


Part = Contact | EpisodeEvent


@dataclass(frozen=True, slots=True)
class Given:
    """An answer, the day it was given, and the entry of the log that it comes from."""

    value: Stored
    on: date
    entry: str


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Something arranged in the episode: since when, by when (the earliest day asked for while it is open),
    and the day and entry that settled it. `by_event`: an event said so, and decisions still ask for it."""

    asked_on: date
    due_on: date
    entry: str
    settled_on: date | None = None
    settled_by: str | None = None
    by_event: bool = False


@dataclass(frozen=True, slots=True)
class LimbState:
    """One leg of an episode. What was never recorded is None.

    `tier` is what is on the leg after the last part, since `tier_since`, as `tier_entry` says. From the day
    after `unsettled_on` it is not known what is on: a decision waited for answers then, and `tier` is what
    was on before it. `support_decisions` counts decisions at support in a row, one a day at most, the last on
    `support_on`. `better_on` is the last day on which progress was better. `review_counted` says that the
    review that is due was counted as missed already.
    """

    first_contact_on: date
    last_contact_on: date
    review_due_on: date | None
    disposition: str
    first_contact_entry: str = ""
    tier: str | None = None
    tier_since: date | None = None
    tier_entry: str = ""
    unsettled_on: date | None = None
    started_on: date | None = None
    started_entry: str = ""
    start_area: Given | None = None
    start_girths: Given | None = None
    last_area: Given | None = None
    last_girths: Given | None = None
    last_ankle: Given | None = None
    last_calf: Given | None = None
    wound: Given | None = None
    support_decisions: int = 0
    support_on: date | None = None
    progress: Given | None = None
    better_on: date | None = None
    tier_drops: int = 0
    missed_reviews: int = 0
    review_counted: bool = False
    limits: tuple[Held, ...] = ()
    arrangements: Mapping[str, Arrangement] = field(default_factory=dict)
    kept: Mapping[str, Given] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class EpisodeState:
    """An episode after its last part. `last_at` places that part in time; `last_contact` is the id of the
    last decision; `kept` are answers of the person. A closed episode says since when and why."""

    opened_on: date
    calendar: str
    last_at: datetime
    last_contact: str
    contacts: int
    events: int
    limbs: Mapping[Side, LimbState]
    kept: Mapping[str, Given] = field(default_factory=dict)
    closed_on: date | None = None
    closed_as: str | None = None

    @property
    def review_due_on(self) -> date | None:
        """The earliest review of both legs; None for a closed episode."""
        if self.closed_on is not None:
            return None
        return min((leg.review_due_on for leg in self.limbs.values() if leg.review_due_on), default=None)


@dataclass(frozen=True, slots=True)
class KeptGroup:
    """Answers that are kept between contacts. `days`: for how long, None for the whole episode.

    With `measured_by` the group is one measurement and is kept whole: it is replaced only by one that counts,
    because one of these inputs has a value other than `not_done` and `no`, and that is not of an earlier day.
    `dated_by` is the input that holds the day of a measurement. `inputs` of the person belong to the
    measurement of the leg that they were given with.
    """

    name: str
    inputs: tuple[str, ...]
    days: int | None = None
    measured_by: tuple[str, ...] = ()
    dated_by: str | None = None

    def measured(self, answers: Answered) -> bool:
        """Whether answers are a measurement that counts."""
        return any(answers.get(name, "not_done") not in ("not_done", "no") for name in self.measured_by)

    def day(self, answers: Answered, otherwise: date) -> date:
        """The day of a measurement; `otherwise` where it is not recorded."""
        said = answers.get(self.dated_by, "not_done") if self.dated_by else "not_done"
        return otherwise if not isinstance(said, str) or said == "not_done" else date.fromisoformat(said)

    def kept_on(self, kept: Mapping[str, Given]) -> date | None:
        """The day of the measurement that is kept; None where none is."""
        held = {name: kept[name] for name in self.inputs if name in kept}
        if not held:
            return None
        given_on = max(one.on for one in held.values())
        return self.day({name: one.value for name, one in held.items()}, given_on)


Keeping = Sequence[KeptGroup]


def stored(answer: Answer) -> Stored:
    """An answer as it is kept."""
    match answer:
        case str():
            return answer
        case Fraction():
            return str(answer)
        case date():
            return answer.isoformat()
        case _:
            return tuple(str(number) for number in answer)


def rank(tier: str | None) -> int:
    """The place of a tier among all; 0 where nothing is on, or it was not recorded."""
    return TIERS.index(tier) if tier in TIERS else 0
