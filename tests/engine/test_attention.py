"""The days on which episodes come onto the due list, against looking at every day."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest

from limbtier.domain.due_reviews import AttentionDays
from limbtier.domain.episode_fold import refold
from limbtier.domain.episode_state import Contact, EpisodeState, LimbContact
from limbtier.engine.arterial_test import comes_to_result
from limbtier.engine.attention import Attention
from limbtier.engine.watch import Watch
from limbtier.measures.working_days import WorkingCalendar
from limbtier.rulesets.read_caseload import load_caseload_terms
from limbtier.rulesets.read_pathway import load_pathways
from limbtier.rulesets.repository import RuleRepository
from tests.support.episodes import FIRST, episode

RULES = Path(__file__).parents[2] / "rules"
DAYS = 130
REPORTED = {"abpi_availability": "reported", "reported_abpi": "9/10"}


@pytest.fixture(scope="module")
def watch() -> Watch:
    return Watch(load_pathways(RULES, RuleRepository(RULES).editions.values())[-1])


@pytest.mark.parametrize("block", range(4))
def test_each_day_by_itself_gives_the_same_first_days(
    watch: Watch, england: WorkingCalendar, block: int
) -> None:
    terms, _ = load_caseload_terms(RULES, watch.pathway)
    attention = Attention(watch, terms)
    found: set[tuple[str, bool]] = set()
    for seed in range(block * 25, block * 25 + 25):
        state = refold(episode(seed, seed % 9), watch.pathway.kept)
        assert state is not None
        days = attention.days(state)
        sorts = (terms.stuck_on_starter_tier, terms.assessment_overdue)
        plain = tuple(first_day(watch, england, state, sort) for sort in sorts)
        assert days == AttentionDays(*plain), seed
        found.update(zip(("stuck", "overdue"), (day is not None for day in plain), strict=True))
    assert found >= {("stuck", True), ("stuck", False), ("overdue", True)}


def test_the_full_assessment_is_awaited_since_the_first_contact_until_there_is_a_result(watch: Watch) -> None:
    attention = Attention(watch, load_caseload_terms(RULES, watch.pathway)[0])
    for given, day in (({}, FIRST.date() + timedelta(days=15)), (REPORTED, None)):
        parts = [
            Contact(
                f"part-{count}",
                FIRST + timedelta(days=count),
                FIRST.date() + timedelta(days=count),
                "england",
                {},
                {"left": LimbContact(given, None, "mild", "continue", FIRST.date() + timedelta(days=40))},
            )
            for count in (0, 33)
        ]
        state = refold(parts, watch.pathway.kept)
        assert state is not None
        assert attention.days(state).assessment_on == day


def first_day(
    watch: Watch, england: WorkingCalendar, state: EpisodeState, ids: tuple[str, ...]
) -> date | None:
    """The first day on which both engines name one of the rules, of all days after a leg's last contact."""
    if state.closed_on is not None:
        return None
    if ids == ("full-assessment-overdue",):  # it waits since the first contact, whoever came meanwhile
        return min(
            (
                leg.first_contact_on + timedelta(days=15)
                for leg in state.limbs.values()
                if not comes_to_result(leg.kept)
            ),
            default=None,
        )
    return min(
        (
            day
            for leg in state.limbs.values()
            for day in (leg.last_contact_on + timedelta(days=count) for count in range(DAYS))
            if any(flag.applies and flag.watch.rule.id in ids for flag in watch.flags(leg, day, england))
        ),
        default=None,
    )
