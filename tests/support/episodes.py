"""Generated parts of episodes: contacts and events with what matters for their state."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta
from typing import Final

from limbtier.domain.assessment import SIDES, Side, day_of
from limbtier.domain.episode_state import (
    TIERS,
    Arranged,
    Contact,
    EpisodeEvent,
    EpisodeState,
    EventKind,
    Held,
    KeptGroup,
    LimbContact,
    Part,
    Stored,
)

KEEPING: Final = (
    KeptGroup("background", ("diabetes", "sensation", "vascular_advice"), 84),
    KeptGroup(
        "ankle_brachial_test",
        (
            "abpi_availability",
            "dorsalis_pedis_mmhg",
            "reported_abpi",
            "arterial_test_on",
            "arm_pressure_left_mmhg",
        ),
        None,
        ("dorsalis_pedis_mmhg", "reported_abpi"),
        "arterial_test_on",
    ),
    KeptGroup("toe_pressure", ("toe_pressure_mmhg",), None, ("toe_pressure_mmhg",)),
)
FIRST: Final = datetime(2026, 1, 5, 9, tzinfo=UTC)
_KINDS: Final[tuple[EventKind, ...]] = (
    "arterial_result_received",
    "advice_given",
    "referral_accepted",
    "review_missed",
    "compression_removed",
    "compression_applied",
)
_DISPOSITIONS: Final = ("start", "continue", "step_up", "step_down", "stop_and_escalate", "cannot_decide_yet")
_WHATS: Final = ("full_assessment", "vascular_referral", "named_lead_decision")


class PartMaker:
    """Makes parts at chosen moments; the same seed makes the same."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed)
        self._count = 0

    def part(self, at: datetime, *, corrects: str | None = None) -> Part:
        """A contact, or less often an event."""
        if corrects is None and self._random.random() < 0.3:
            return self.event(at)
        return self.contact(at, corrects=corrects)

    def contact(self, at: datetime, *, corrects: str | None = None) -> Contact:
        """A contact about one leg or both."""
        sides = self._random.choice((("left",), ("right",), SIDES))
        return Contact(
            self._id(),
            at,
            day_of(at),
            "england",
            self._some({"diabetes": ("yes", "no"), "arm_pressure_left_mmhg": ("140", "not_done")}),
            {side: self._limb(day_of(at)) for side in SIDES if side in sides},
            corrects,
        )

    def event(self, at: datetime) -> EpisodeEvent:
        """An event of some kind, about one leg."""
        kind = self._random.choice(_KINDS)
        limb: Side = self._random.choice(SIDES)
        answers: dict[str, Stored] = {}
        if kind == "arterial_result_received":
            answers = {"abpi_availability": "reported", "reported_abpi": self._random.choice(("9/10", "3/5"))}
            answers["arterial_test_on"] = self._day(day_of(at))
        elif kind == "advice_given":
            answers = {"vascular_advice": self._random.choice(("none", "mild", "strong"))}
        return EpisodeEvent(
            self._id(),
            kind,
            at,
            day_of(at),
            limb,
            limb_answers=answers,
            tier=self._random.choice(TIERS[1:]) if kind == "compression_applied" else None,
            reason="slipped" if kind == "compression_removed" else None,
            arrangement=self._random.choice(_WHATS) if kind == "referral_accepted" else None,
        )

    def _limb(self, day: date) -> LimbContact:
        chosen = self._random
        answers = self._some(
            {
                "wound": ("leg_ulcer", "none"),
                "progress": ("better", "no_change", "worse"),
                "sensation": ("intact", "reduced", "absent"),
                "vascular_advice": ("none", "mild", "strong"),
                "abpi_availability": ("measured", "reported", "not_possible", "not_yet_done"),
                "dorsalis_pedis_mmhg": ("70", "120", "not_done"),
                "arterial_test_on": (self._day(day), "not_done"),
                "toe_pressure_mmhg": ("60", "not_done"),
                "first_contact_on": (self._day(day),),
                "compression_started_on": (self._day(day),),
                "current_tier_since": (self._day(day),),
                "start_wound_area_cm2": ("12", "not_done"),
                "girth_series_cm": (("24", "49/2", "30"), "not_done"),
            }
        )
        return LimbContact(
            answers,
            chosen.choice((None, "none", *TIERS)),
            chosen.choice(TIERS),
            chosen.choice(_DISPOSITIONS),
            day + timedelta(days=chosen.randint(0, 28)),
            chosen.choice((None, "not_done", "12", "15/2")),
            tuple(
                Held(name, "mild", "good_review") for name in ("pain-first", "stent") if chosen.random() < 0.4
            ),
            tuple(
                Arranged(what, day + timedelta(days=chosen.randint(1, 14)))
                for what in _WHATS
                if chosen.random() < 0.4
            ),
        )

    def _some(self, values: dict[str, tuple[Stored, ...]]) -> dict[str, Stored]:
        return {
            name: self._random.choice(some) for name, some in values.items() if self._random.random() < 0.5
        }

    def _day(self, day: date) -> str:
        return (day - timedelta(days=self._random.randint(0, 20))).isoformat()

    def _id(self) -> str:
        self._count += 1
        return f"part-{self._count}"


def episode(seed: int, count: int) -> list[Part]:
    """An episode in the order in which it happened: a contact, then so many further parts."""
    maker = PartMaker(seed)
    chosen = random.Random(seed + 1)
    found: list[Part] = [maker.contact(FIRST)]
    at = FIRST
    for _ in range(count):
        at += timedelta(hours=chosen.choice((1, 5, 24, 50, 170)))
        found.append(maker.part(at))
    return found


def some_state(seed: int = 1, count: int = 3) -> EpisodeState:
    """The state of a generated episode."""
    from limbtier.domain.episode_fold import refold

    state = refold(episode(seed, count), KEEPING)
    assert state is not None
    return state
