"""What holds between the contacts of an episode, as data: kept answers, events, what to ask, watch rules."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

from limbtier.domain.edition import Source
from limbtier.domain.episode_state import EventKind, KeptGroup
from limbtier.domain.interval import Interval
from limbtier.domain.rule import Rule


@dataclass(frozen=True, slots=True)
class WatchMeasure:
    """A fact about one leg of an episode on a day, that watch rules may test. `choices` are its values; none
    for a number."""

    name: str
    title: str
    choices: tuple[str, ...] = ()

    @property
    def kind(self) -> Literal["number", "choice"]:
        """What it is."""
        return "choice" if self.choices else "number"


WATCH_MEASURES: Final = (
    WatchMeasure("days_since_first_contact", "Days since the first contact"),
    WatchMeasure("full_assessment", "Full assessment with arterial test", ("done", "outstanding")),
    WatchMeasure("tier", "What is on the leg", ("none", "withhold", "support", "mild", "moderate", "strong")),
    WatchMeasure("days_at_tier", "Days at the present tier"),
    WatchMeasure("support_decisions", "Decisions at support in a row"),
    WatchMeasure("progress", "Progress as last recorded", ("better", "no_change", "worse")),
    WatchMeasure("days_without_improvement", "Days at the present tier since progress was last better"),
    WatchMeasure("days_since_start", "Days since compression started"),
    WatchMeasure("area_reduction_percent", "Reduction of the wound area since the start, as last measured"),
    WatchMeasure("area_measured_after_days", "Days from the start to the last measurement of the area"),
    WatchMeasure("tier_drops", "Times that a decision went down a tier"),
    WatchMeasure("missed_reviews", "Reviews that were missed"),
    WatchMeasure("days_past_review", "Days since the review was due; below 1 while it is not overdue"),
)
"""In the order in which they are shown. Numbers that are not known, or not asked of this leg, are absent."""


@dataclass(frozen=True, slots=True)
class WatchRule:
    """A watch rule: the condition as a rule of one leg, what to do about it, and within which time."""

    rule: Rule
    action: str
    within: Interval


@dataclass(frozen=True, slots=True)
class EventInputs:
    """The inputs that an event of a kind may carry."""

    kind: EventKind
    inputs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plausibility:
    """What is asked about before a decision: an area so many times as large or as small as the last one, at
    most `area_days` before; a girth likewise within `girth_days`; and legs that fit one another's last girths
    to `swapped_within_cm` a girth on average, and are further than `swapped_apart_cm` from their own."""

    area_factor: Fraction
    area_days: int
    girth_factor: Fraction
    girth_days: int
    swapped_within_cm: Fraction
    swapped_apart_cm: Fraction


@dataclass(frozen=True, slots=True)
class Pathway:
    """All that holds between contacts, of one version."""

    version: str
    title: str
    owner: str
    digest: str
    sources: Mapping[str, Source]
    kept: tuple[KeptGroup, ...]
    events: Mapping[str, EventInputs]
    plausibility: Plausibility
    watch: tuple[WatchRule, ...]
