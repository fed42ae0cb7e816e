"""The state of an episode does not depend on the order in which its parts arrive."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.domain.episode_fold import fold, refold
from limbtier.domain.episode_state import (
    Contact,
    EpisodeEvent,
    EpisodeState,
    Held,
    LimbContact,
    LimbState,
    Part,
)
from limbtier.domain.episode_text import read_part, read_state, written
from tests.support.episodes import FIRST, KEEPING, PartMaker, episode

SEEDS = st.integers(0, 10**9)
COUNTS = st.integers(0, 12)


@given(seed=SEEDS, count=COUNTS)
def test_parts_arriving_in_any_order_come_to_the_same_state(seed: int, count: int) -> None:
    happened = episode(seed, count)
    arrived = list(happened)
    random.Random(seed).shuffle(arrived)
    assert refold(arrived, KEEPING) == refold(happened, KEEPING)


@given(seed=SEEDS, count=COUNTS)
def test_folding_one_more_part_in_order_is_folding_all_anew(seed: int, count: int) -> None:
    happened = episode(seed, count)
    state: EpisodeState | None = None
    for number, part in enumerate(happened, 1):
        state = fold(state, part, KEEPING)
        assert state == refold(happened[:number], KEEPING)


@given(seed=SEEDS, count=st.integers(1, 12))
def test_a_part_that_is_corrected_has_never_been(seed: int, count: int) -> None:
    happened = episode(seed, count)
    chosen = random.Random(seed)
    wrong = chosen.choice(happened)
    maker = PartMaker(seed + 7)
    right = replace(maker.contact(wrong.at), id="right", corrects=wrong.id)
    without: list[Part] = [right if part is wrong else part for part in happened]
    assert refold([*happened, right], KEEPING) == refold(without, KEEPING)


@given(seed=SEEDS, count=COUNTS)
def test_states_and_parts_survive_their_text(seed: int, count: int) -> None:
    happened = episode(seed, count)
    assert [read_part(written(part)) for part in happened] == happened
    state = refold(happened, KEEPING)
    assert state is not None
    assert read_state(written(state)) == state


@settings(max_examples=30)
@given(seed=SEEDS, count=COUNTS)
def test_an_arterial_measurement_is_never_replaced_by_its_absence(seed: int, count: int) -> None:
    happened = episode(seed, count)
    before = refold(happened, KEEPING)
    assert before is not None
    silent = {
        "abpi_availability": "not_possible",
        "toe_pressure_mmhg": "not_done",
        "dorsalis_pedis_mmhg": "not_done",
    }
    at = happened[-1].at + timedelta(days=3)
    contact = Contact("silent", at, at.date(), "england", {}, {side: _limb(silent) for side in before.limbs})
    after = fold(before, contact, KEEPING)
    assert after is not None
    for side, leg in before.limbs.items():
        for group in KEEPING[1:]:
            for name in group.inputs:
                assert after.limbs[side].kept.get(name) == leg.kept.get(name)


def _limb(
    answers: dict[str, str] | None = None,
    found: str | None = "none",
    tier: str = "mild",
    disposition: str = "start",
    review: date = date(2026, 1, 8),
    area: str | None = None,
) -> LimbContact:
    return LimbContact(answers or {}, found, tier, disposition, review, area, (Held("x", "mild", None),))


def _after(*steps: tuple[int, LimbContact]) -> LimbState:
    state: EpisodeState | None = None
    for number, (days, limb) in enumerate(steps):
        at = FIRST + timedelta(days=days)
        state = fold(state, Contact(f"d{number}", at, at.date(), "england", {}, {"left": limb}), KEEPING)
    assert state is not None
    return state.limbs["left"]


def test_a_start_sets_the_day_the_tier_and_the_first_area() -> None:
    leg = _after((0, _limb({"wound": "leg_ulcer"}, area="12")))
    assert (leg.tier, leg.tier_since, leg.started_on) == ("mild", FIRST.date(), FIRST.date())
    assert leg.start_area is not None
    assert leg.start_area.value == "12"


def test_a_tier_that_continues_keeps_its_day_and_a_step_gets_its_own() -> None:
    steps = [(0, _limb()), (3, _limb(found="mild", disposition="continue"))]
    assert _after(*steps).tier_since == FIRST.date()
    leg = _after(*steps, (10, _limb(found="mild", tier="strong", disposition="step_up")))
    assert (leg.tier, leg.tier_since) == ("strong", FIRST.date() + timedelta(days=10))
    assert leg.started_on == FIRST.date()


def test_a_decision_that_waits_for_answers_leaves_open_what_is_on() -> None:
    waiting = _limb(found="mild", tier="withhold", disposition="cannot_decide_yet")
    leg = _after((0, _limb()), (3, waiting))
    assert (leg.tier, leg.unsettled_on) == ("mild", FIRST.date() + timedelta(days=3))
    settled = _after((0, _limb()), (3, waiting), (3, _limb(found="mild", disposition="continue")))
    assert (settled.tier, settled.unsettled_on, settled.tier_since) == ("mild", None, FIRST.date())


def test_what_was_decided_and_never_put_on_did_not_start() -> None:
    leg = _after((0, _limb()), (5, _limb(found="none")))
    assert (leg.started_on, leg.tier_since) == (FIRST.date() + timedelta(days=5),) * 2


def test_support_is_counted_once_a_day_and_from_the_start_after_another_tier() -> None:
    support = _limb(tier="support")
    again = _limb(found="support", tier="support", disposition="continue")
    assert _after((0, support), (0, support)).support_decisions == 1
    assert _after((0, support), (2, again)).support_decisions == 2
    assert _after((0, support), (2, again), (4, _limb(found="support"))).support_decisions == 0


def test_tier_drops_and_late_contacts_are_counted() -> None:
    down = _limb(found="mild", tier="support", disposition="step_down", review=date(2026, 1, 12))
    leg = _after((0, _limb()), (9, down))
    assert (leg.tier_drops, leg.missed_reviews) == (1, 1)


@pytest.mark.parametrize(
    ("kind", "tier", "expected"),
    [("compression_removed", None, "withhold"), ("compression_applied", "strong", "strong")],
)
def test_events_change_what_is_on_the_leg(kind: str, tier: str | None, expected: str) -> None:
    at = FIRST + timedelta(days=2)
    happened: list[Part] = [
        Contact("d", FIRST, FIRST.date(), "england", {}, {"left": _limb()}),
        EpisodeEvent("e", kind, at, at.date(), "left", tier=tier),  # type: ignore[arg-type]
    ]
    state = refold(happened, KEEPING)
    assert state is not None
    assert state.limbs["left"].tier == expected
    assert state.limbs["left"].started_on == FIRST.date()


def test_a_closed_episode_has_no_review() -> None:
    at = FIRST + timedelta(days=2)
    contact = Contact("d", FIRST, FIRST.date(), "england", {}, {"left": _limb()})
    state = refold([contact, EpisodeEvent("e", "healed", at, at.date())], KEEPING)
    assert state is not None
    assert (state.closed_as, state.closed_on, state.review_due_on) == ("healed", at.date(), None)
