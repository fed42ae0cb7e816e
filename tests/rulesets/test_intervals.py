"""Intervals as rule files write them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.domain.interval import Interval
from limbtier.rulesets.intervals import PATTERN, REVIEW_PATTERN, fits_review, parse_interval

DAYS = st.integers(1, 3650)
INTERVALS = st.one_of(
    st.just(Interval("immediately")),
    st.just(Interval("same_day")),
    st.builds(lambda days: Interval("hours", 24 * days), DAYS),
    st.builds(lambda days: Interval("days", days), DAYS),
    st.builds(lambda days: Interval("working_days", days), DAYS),
    st.builds(lambda days: Interval("days_of_first_contact", days), DAYS),
)


@given(INTERVALS)
def test_an_interval_reads_back_as_it_is_shown(interval: Interval) -> None:
    assert parse_interval(str(interval)) == interval


@given(INTERVALS)
def test_editors_accept_every_interval(interval: Interval) -> None:
    assert re.search(PATTERN, str(interval))
    assert bool(re.search(REVIEW_PATTERN, str(interval))) == fits_review(interval)


@given(st.one_of(st.text(), st.from_regex(r"[0-9]{0,6} ?(hours|days|working days|weeks)", fullmatch=True)))
def test_any_other_text_is_refused_with_advice(text: str) -> None:
    parsed = parse_interval(text)
    if isinstance(parsed, Interval):
        assert re.search(PATTERN, text)
    else:
        assert all(parsed)


@pytest.mark.parametrize(
    ("text", "advice"),
    [
        ("24-72 hours", "An interval is one upper bound: write `72 hours`."),
        ("24\u201372 hours", "An interval is one upper bound: write `72 hours`."),
        ("2 to 7 days", "An interval is one upper bound: write `7 days`."),
        ("36 hours", "Write `24 hours`, or `same day`."),
        ("1 hours", "Write `24 hours`, or `same day`."),
    ],
)
def test_what_was_meant_is_offered(text: str, advice: str) -> None:
    parsed = parse_interval(text)
    assert not isinstance(parsed, Interval)
    assert parsed[2] == advice
