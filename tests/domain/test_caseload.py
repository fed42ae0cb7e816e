"""What a caseload comes to, counted a second time day by day in plain code; quartiles against NumPy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.domain.assessment import Side
from limbtier.domain.caseload import (
    NOT_KNOWN,
    SHOWN_TIERS,
    Caseload,
    CaseloadTerms,
    Course,
    Share,
    StarterShare,
    caseload,
    courses,
    spread,
)
from limbtier.domain.episode_fold import refold
from limbtier.domain.episode_state import TIERS, Contact, EpisodeEvent, Given, LimbContact, Part, rank
from tests.support.episodes import KEEPING, episode

TERMS = CaseloadTerms(("support", "mild"), (14, 28), "ankle_brachial_test", 14, (7, 14, 28), 12)
FIRST = date(2026, 1, 5)  # a Monday


def any_test(_kept: Mapping[str, Given]) -> bool:
    """Any test that is kept counts: the parts here are of a simpler pathway."""
    return True


def contact(day: int, tier: str, disposition: str = "start", **more: object) -> Contact:
    on = FIRST + timedelta(days=day)
    answers = {name: str(value) for name, value in more.items() if name != "area_cm2"}
    area = more.get("area_cm2")
    limb = LimbContact(answers, None, tier, disposition, on, None if area is None else str(area))
    return Contact(
        f"c{day}", datetime(on.year, on.month, on.day, 9, tzinfo=UTC), on, "england", {}, {"left": limb}
    )


def closed(day: int, how: str = "healed") -> EpisodeEvent:
    on = FIRST + timedelta(days=day)
    moment = datetime(on.year, on.month, on.day, 15, tzinfo=UTC)
    return EpisodeEvent(f"e{day}", how, moment, on)  # type: ignore[arg-type]


def left(parts: Sequence[Part]) -> Course:
    side: Side = "left"
    return courses(parts, KEEPING, TERMS.assessment, any_test)[side]


def counted(*episodes: Sequence[Part], day: int) -> Caseload:
    return caseload([left(parts) for parts in episodes], TERMS, FIRST + timedelta(days=day))


# By hand: three legs.

HEALS: list[Part] = [
    contact(0, "mild", area_cm2=10, abpi_availability="not_yet_done"),
    contact(10, "strong", "step_up", area_cm2=8, abpi_availability="reported", reported_abpi="1"),
    contact(24, "strong", "continue", area_cm2=4),
    closed(60),
]
STUCK: list[Part] = [contact(0, "support"), contact(2, "support", "continue"), contact(20, "mild", "step_up")]
WAITS: list[Part] = [contact(3, "withhold", "cannot_decide_yet"), contact(4, "support", "start")]


def test_legs_are_counted_by_tier_at_the_end_of_each_week_while_their_episode_is_open() -> None:
    found = counted(HEALS, STUCK, WAITS, day=63)
    weeks = {
        (day - FIRST).days: {tier: n for tier, n in row.items() if n} for day, row in found.weeks.items()
    }
    assert weeks[6] == {"mild": 1, "support": 2}
    assert weeks[13] == {"strong": 1, "support": 2}
    assert weeks[20] == {"strong": 1, "mild": 1, "support": 1}
    assert weeks[62] == {"mild": 1, "support": 1}  # the first healed on day 60
    assert found.legs == 3
    assert found.open_legs == 2


def test_what_is_on_is_not_known_while_a_decision_waits() -> None:
    assert left(WAITS).tier_on(FIRST + timedelta(days=3)) == NOT_KNOWN
    assert left(WAITS).tier_on(FIRST) == NOT_KNOWN


def test_a_full_assessment_counts_from_its_first_time_and_within_its_days() -> None:
    assert counted(HEALS, STUCK, WAITS, day=13).assessed == Share(0, 0)  # nobody was followed for 14 days
    assert counted(HEALS, STUCK, WAITS, day=14).assessed == Share(1, 2)
    assert counted(HEALS, STUCK, WAITS, day=17).assessed == Share(1, 3)
    again: list[Part] = [
        *HEALS[:3],
        contact(40, "strong", "continue", abpi_availability="reported", reported_abpi="1"),
    ]
    assert counted(again, day=60).assessed == Share(1, 1)


def test_legs_still_at_a_starter_tier_are_of_those_that_began_there_and_were_followed() -> None:
    found = counted(HEALS, STUCK, WAITS, day=40)
    assert found.still_at_starter_tier == {14: StarterShare(2, 0, 3), 28: StarterShare(2, 0, 3)}
    assert counted(HEALS, STUCK, WAITS, day=17).still_at_starter_tier == {
        14: StarterShare(1, 0, 2),
        28: StarterShare(0, 0, 0),
    }


def test_days_to_a_tier_count_a_higher_one_too() -> None:
    found = counted(HEALS, STUCK, WAITS, day=40).reached
    assert found["mild"].days.of == 2
    assert found["mild"].days.median == 10  # 0 and 20 days
    assert found["strong"].by_days == {7: Share(0, 3), 14: Share(1, 3), 28: Share(1, 3)}
    assert found["support"].days.median == 0


def test_a_tier_reached_early_is_not_counted_before_its_days_have_passed() -> None:
    early = counted(HEALS, STUCK, WAITS, day=9).reached["mild"].by_days
    assert early == {7: Share(1, 2), 14: Share(0, 0), 28: Share(0, 0)}


def test_area_change_is_of_the_area_at_the_start_and_a_healed_leg_has_none_left() -> None:
    found = counted(HEALS, day=70).area_change
    shown = {week: one.median for week, one in found.items() if one.of}
    assert shown == {0: 0, 1: 0, 2: 20, 3: 20, 4: 60, 5: 60, 6: 60, 7: 60, 8: 60, 9: 100, 10: 100}


# Generated episodes, against plain code that looks at each day by itself.


@pytest.mark.parametrize("day", [10, 30, 75, 200])
def test_plain_counting_of_each_day_agrees(day: int) -> None:
    as_of = FIRST + timedelta(days=day)
    every = [episode(seed, 12) for seed in range(60)]
    legs = [leg for parts in every for leg in courses(parts, KEEPING, TERMS.assessment, any_test).values()]
    found = caseload(legs, TERMS, as_of)
    plain: dict[date, dict[str, int]] = {}
    total = 0
    for parts in every:
        whole = refold(parts, KEEPING)
        assert whole is not None
        total += sum(leg.first_contact_on <= as_of for leg in whole.limbs.values())
        for sunday in found.weeks:
            row = plain.setdefault(sunday, dict.fromkeys(SHOWN_TIERS, 0))
            then = refold([part for part in parts if part.on <= sunday], KEEPING)
            for side, leg in whole.limbs.items():
                if leg.first_contact_on <= sunday:
                    known = then.limbs.get(side) if then else None
                    unsure = known is None or known.tier is None or known.unsettled_on is not None
                    row[NOT_KNOWN if unsure or known is None or known.tier is None else known.tier] += 1
    assert found.weeks == plain
    assert found.legs == total
    for tier in TIERS[1:]:
        reached = [
            next((part.on for part in parts if _at_least(parts, part.on, side, tier)), None)
            for parts in every
            for side in courses(parts, KEEPING, TERMS.assessment, any_test)
        ]
        assert found.reached[tier].days.of == sum(on is not None and on <= as_of for on in reached)


def _at_least(parts: Sequence[Part], day: date, side: Side, tier: str) -> bool:
    """Whether the leg ended a day at a tier or a higher one."""
    state = refold([part for part in parts if part.on <= day], KEEPING)
    leg = state.limbs.get(side) if state else None
    return bool(leg and leg.tier and leg.unsettled_on is None and rank(leg.tier) >= rank(tier))


@given(st.lists(st.fractions(-100, 100), min_size=1, max_size=30))
def test_quartiles_are_those_of_numpy(values: list[Fraction]) -> None:
    found = spread(values)
    for shown, part in ((found.lower, 0.25), (found.median, 0.5), (found.upper, 0.75)):
        assert shown is not None
        assert float(shown) == pytest.approx(
            float(np.quantile([float(one) for one in values], part)), abs=1e-9
        )
