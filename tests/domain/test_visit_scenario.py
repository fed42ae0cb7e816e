"""A scenario of visits: legs times assumed visits times weeks, and nothing else."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest

from limbtier.domain.caseload import SHOWN_TIERS, Caseload, CaseloadTerms, Share
from limbtier.domain.visit_scenario import VisitRange, visit_scenario

TERMS = CaseloadTerms(("support",), (14,), "ankle_brachial_test", 14, (7,), 1)


def of_week(**counts: int) -> Caseload:
    week = {tier: counts.get(tier, 0) for tier in SHOWN_TIERS}
    weeks = {date(2026, 3, 1): dict.fromkeys(SHOWN_TIERS, 9), date(2026, 3, 8): week}
    return Caseload(date(2026, 3, 9), 9, 9, weeks, {}, Share(0, 0), {}, {}, TERMS)


def test_legs_of_the_last_week_times_the_visits_assumed_times_the_weeks() -> None:
    assumed = {
        "mild": VisitRange(Fraction(2), Fraction(3)),
        "strong": VisitRange(Fraction(1, 2), Fraction(1)),
    }
    found = visit_scenario(of_week(mild=4, strong=2, support=3), assumed, 10)
    assert found.visits == VisitRange(Fraction(90), Fraction(140))  # 10 * (4*2 + 2*0.5), 10 * (4*3 + 2*1)
    assert found.counted_on == "2026-03-08"
    assert found.left_out == 3


def test_a_range_the_wrong_way_round_is_refused() -> None:
    with pytest.raises(ValueError, match="no range"):
        VisitRange(Fraction(3), Fraction(2))


def test_without_a_whole_week_there_is_nothing_to_count() -> None:
    empty = Caseload(date(2026, 3, 9), 0, 0, {}, {}, Share(0, 0), {}, {}, TERMS)
    found = visit_scenario(empty, {"mild": VisitRange(Fraction(1), Fraction(1))}, 4)
    assert found.visits.most == 0
    assert found.counted_on is None
