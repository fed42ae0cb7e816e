"""Reads intervals as rule files write them."""

from __future__ import annotations

import re
from typing import Final

from limbtier.domain.interval import Interval

LONGEST_DAYS: Final = 3650
HOW_TO: Final = (
    "Write `immediately`, `same day`, `48 hours`, `7 days`, `2 working days` or `14 days of first contact`."
)
HOW_TO_REVIEW: Final = "Write `immediately`, `same day`, `48 hours` or `7 days`."
# What an interval looks like, for editors; the amount is checked by `parse_interval`.
PATTERN: Final = (
    r"^(immediately|same day|[1-9][0-9]{0,4} hours|[1-9][0-9]{0,4} days( of first contact)?"
    r"|1 day|1 working day|[1-9][0-9]{0,4} working days)$"
)
REVIEW_PATTERN: Final = r"^(immediately|same day|[1-9][0-9]{0,4} hours|[1-9][0-9]{0,4} days|1 day)$"
_AMOUNT: Final = re.compile(
    r"([1-9][0-9]{0,4}) (hours|days of first contact|working days|days)\Z|1 (day|working day)\Z"
)
_TWO_AMOUNTS: Final = re.compile(r"[0-9]\s*(?:-|\u2013|\u2014|to|or)\s*[0-9]")

Problem = tuple[str, str, str]


def parse_interval(text: str) -> Interval | Problem:
    """The interval, or code, message and advice when it is none."""
    if text == "immediately":
        return Interval("immediately")
    if text == "same day":
        return Interval("same_day")
    if _TWO_AMOUNTS.search(text):
        last = re.findall(r"[0-9]+", text)[-1]
        unit = "hours" if "hour" in text else "days"
        return (
            "interval-is-a-range",
            f"`{text[:60]}` is a range.",
            f"An interval is one upper bound: write `{last[:5]} {unit}`.",
        )
    found = _AMOUNT.match(text)
    if found is None:
        return ("bad-interval", f"`{text[:60]}` is no interval.", HOW_TO)
    amount = int(found.group(1) or 1)
    unit = found.group(2) or f"{found.group(3)}s"
    if unit == "hours":
        if amount % 24:
            return (
                "hours-not-whole-days",
                f"`{text}` is not a number of whole days.",
                f"Write `{max(24, amount // 24 * 24)} hours`, or `same day`.",
            )
        return Interval("hours", amount) if amount <= LONGEST_DAYS * 24 else _too_long(text)
    if amount > LONGEST_DAYS:
        return _too_long(text)
    if unit == "days":
        return Interval("days", amount)
    return Interval("working_days" if unit == "working days" else "days_of_first_contact", amount)


def _too_long(text: str) -> Problem:
    return ("bad-interval", f"`{text}` is longer than {LONGEST_DAYS} days.", "Write a shorter interval.")


def fits_review(interval: Interval) -> bool:
    """Whether a review may be set by it: it counts from the assessment alone."""
    return interval.kind in ("immediately", "same_day", "hours", "days")
