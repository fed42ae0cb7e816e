"""What is watched between decisions, against the same rules written out in plain Python."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.domain.episode_fold import fold, refold
from limbtier.domain.episode_state import EpisodeState, KeptGroup, LimbState
from limbtier.domain.pathway import Pathway
from limbtier.engine.watch import Watch
from limbtier.foundation.errors import EnginesDisagree
from limbtier.measures.working_days import WorkingCalendar
from limbtier.rulesets.read_pathway import load_pathways
from limbtier.rulesets.repository import RuleRepository
from tests.support.episodes import episode

RULES = Path(__file__).parents[2] / "rules"


@pytest.fixture(scope="module")
def repository() -> RuleRepository:
    return RuleRepository(RULES)


@pytest.fixture(scope="module")
def pathway(repository: RuleRepository) -> Pathway:
    return load_pathways(RULES, repository.editions.values())[-1]


@pytest.fixture(scope="module")
def watch(pathway: Pathway) -> Watch:
    return Watch(pathway)


@pytest.fixture(scope="module")
def england(repository: RuleRepository) -> WorkingCalendar:
    return repository.calendars["england"]


def in_plain_python(leg: LimbState, day: date) -> Iterator[tuple[str, bool]]:
    """Each rule of the pathway by hand: its id, and whether it applies or only might."""
    # No generated leg has the pressures of both arms, so that only a reported ratio is a result.
    names = ("abpi_availability", "reported_abpi")
    availability, ratio = (leg.kept[name].value if name in leg.kept else None for name in names)
    done = availability == "reported" and ratio not in (None, "not_done")
    if not done and (day - leg.first_contact_on).days > 14:
        yield "full-assessment-overdue", True
    if leg.support_decisions >= 2:
        yield "support-twice", True
    on = leg.tier if leg.unsettled_on is None or day <= leg.unsettled_on else None
    reduction, measured_after = _area(leg)
    yield from _mild(leg, on, day, reduction)
    if leg.started_on is not None:
        days = (day - leg.started_on).days
        for name, first, last, percent in (
            ("area-short-at-two-weeks", 14, 28, 25),
            ("area-short-at-four-weeks", 28, 10**6, 40),
        ):
            if days < first:
                continue
            measured: bool | None = None
            if isinstance(measured_after, int):
                measured = first <= measured_after < last
            less = None if reduction is None else reduction != "none" and reduction < percent  # type: ignore[operator]
            if measured_after == "none":
                measured = False
            if measured is not False and less is not False:
                yield name, bool(measured and less)
        if days >= 84:
            worse = None if on is None or leg.progress is None else leg.progress.value != "better"
            if on in ("none", "withhold"):
                worse = False
            less = None if reduction is None else reduction != "none" and reduction < 40  # type: ignore[operator]
            if worse or less:
                yield "twelve-weeks", True
            elif worse is None or less is None:
                yield "twelve-weeks", False
    elif leg.tier not in ("none", "withhold"):
        yield "area-short-at-two-weeks", False
        yield "area-short-at-four-weeks", False
        yield "twelve-weeks", False
    if leg.tier_drops >= 2:
        yield "tier-dropped-twice", True
    if leg.missed_reviews >= 2 or (leg.review_due_on and leg.review_due_on < day):
        yield "review-missed", True


def _area(leg: LimbState) -> tuple[Fraction | str | None, int | str | None]:
    """The reduction in per cent and the days after which it was measured; None not known, `none` no area."""
    if leg.started_on is None:
        return ("none", "none") if leg.tier in ("none", "withhold") else (None, None)
    if leg.last_area is None:
        gone = leg.wound is not None and leg.wound.value == "none"
        return ("none", "none") if gone else (None, None)
    after = (leg.last_area.on - leg.started_on).days
    if leg.start_area is None:
        return None, after
    if "not_done" in (leg.start_area.value, leg.last_area.value):
        return "none", after
    start, last = Fraction(str(leg.start_area.value)), Fraction(str(leg.last_area.value))
    return (1 - last / start) * 100, after


def _mild(
    leg: LimbState, on: str | None, day: date, reduction: Fraction | str | None
) -> Iterator[tuple[str, bool]]:
    name = "mild-without-improvement"
    if on not in ("mild", None):
        return
    if on is None or leg.tier_since is None:
        yield name, False
        return
    if (day - leg.tier_since).days < 14:
        return
    if leg.better_on is None or (day - max(leg.better_on, leg.tier_since)).days >= 14:
        yield name, True
    elif reduction is None:
        yield name, False
    elif reduction != "none" and reduction < 25:  # type: ignore[operator]
        yield name, True


@settings(max_examples=300, deadline=None)
@given(seed=st.integers(0, 10**9), count=st.integers(0, 15), days=st.integers(0, 120))
def test_both_engines_read_the_watch_rules_as_they_read_in_plain_python(
    watch: Watch, england: WorkingCalendar, seed: int, count: int, days: int
) -> None:
    state = refold(episode(seed, count), watch.pathway.kept)
    assert state is not None
    for leg in state.limbs.values():
        day = leg.last_contact_on + timedelta(days=days)
        found = [(flag.watch.rule.id, flag.applies) for flag in watch.flags(leg, day, england)]
        assert found == list(in_plain_python(leg, day))


@settings(max_examples=50, deadline=None)
@given(seed=st.integers(0, 10**9), days=st.integers(0, 60))
def test_what_is_due_is_due_on_a_working_day_or_says_the_last_possible_day(
    watch: Watch, england: WorkingCalendar, seed: int, days: int
) -> None:
    state = refold(episode(seed, 4), watch.pathway.kept)
    assert state is not None
    for leg in state.limbs.values():
        day = leg.last_contact_on + timedelta(days=days)
        for flag in watch.flags(leg, day, england):
            assert day <= flag.due_on <= day + timedelta(days=7)
            assert england.is_working_day(flag.due_on)


def test_a_matcher_that_reads_otherwise_is_refused(
    pathway: Pathway, england: WorkingCalendar, monkeypatch: pytest.MonkeyPatch
) -> None:
    state: EpisodeState | None = None
    for part in episode(5, 3):
        state = fold(state, part, pathway.kept)
    assert state is not None
    broken = Watch(pathway)
    monkeypatch.setattr(broken._matcher, "match", lambda _facts: bytes([1] * len(pathway.watch)))
    with pytest.raises(EnginesDisagree, match="watch rules"):
        broken.flags(next(iter(state.limbs.values())), date(2026, 3, 2), england)


def test_the_pathway_keeps_what_the_clinical_paragraph_names(pathway: Pathway) -> None:
    groups = {group.name: group for group in pathway.kept}
    assert [group.days for group in groups.values()] == [84, 84, None, None]
    assert isinstance(groups["toe_pressure"], KeptGroup)
    kept = {name for group in groups.values() for name in group.inputs}
    assert "signs_of_sepsis" not in kept
    assert "suspected_dvt" not in kept
    assert {"diabetes", "sensation", "vascular_advice", "long_term_compression", "ankle_movement"} <= kept
