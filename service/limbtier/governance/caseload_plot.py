"""A caseload as a picture (SVG) that a team can look at; it is read without colour, too."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from fractions import Fraction
from typing import Final

from limbtier.domain.caseload import SHOWN_TIERS, Caseload, Share, Spread
from limbtier.governance.caseload_record import caseload_text, percent
from limbtier.governance.picture import Shape, bar, curve, picture, rule, words_at

_WIDTH: Final = 1000
_LEFT: Final = 72
_RIGHT: Final = 780
_HEIGHT: Final = 240
_MOST_WEEKS: Final = 60
_MOST_LABELS: Final = 9

# From light to dark with the tier, each with a pattern of its own.
_FILLS: Final = {
    "strong": "#3b5f7d",
    "moderate": "url(#moderate)",
    "mild": "url(#mild)",
    "support": "url(#support)",
    "withhold": "url(#withhold)",
    "none": "#ffffff",
    "not_known": "#e4e4e4",
}
_PATTERNS: Final = """
<pattern id="moderate" width="8" height="8" patternUnits="userSpaceOnUse">
<rect width="8" height="8" fill="#9dbdd8"/><path d="M-2 2 2 -2M0 8 8 0M6 10 10 6" stroke="#1b1b1b"/>
</pattern>
<pattern id="mild" width="8" height="8" patternUnits="userSpaceOnUse">
<rect width="8" height="8" fill="#d7e6f2"/><circle cx="2" cy="2" r="1.2"/><circle cx="6" cy="6" r="1.2"/>
</pattern>
<pattern id="support" width="8" height="8" patternUnits="userSpaceOnUse">
<rect width="8" height="8" fill="#f6e3c5"/><path d="M0 4H8" stroke="#1b1b1b"/>
</pattern>
<pattern id="withhold" width="8" height="8" patternUnits="userSpaceOnUse">
<rect width="8" height="8" fill="#f3c08a"/><path d="M0 0L8 8M8 0L0 8" stroke="#1b1b1b"/>
</pattern>
"""


def caseload_svg(found: Caseload, title: str) -> str:
    """The picture; it holds counts alone and names nobody."""
    return picture(title, caseload_text(found).splitlines(), _drawing(found, title), _WIDTH, _PATTERNS)


def _drawing(found: Caseload, title: str) -> Iterator[Shape]:
    yield words_at(24, 36, title, "title")
    yield words_at(24, 60, f"{found.legs:,} legs up to {found.as_of}, {found.open_legs:,} in open episodes")
    yield words_at(24, 100, "Legs of open episodes at the end of each week, by the tier on the leg", "head")
    yield from _weeks(found, 120)
    top = 120 + _HEIGHT + 72
    yield words_at(24, top, "Shares", "head")
    top += 14
    for label, share in _shares(found):
        yield from _share(top, label, share)
        top += 34
    top += 40
    yield words_at(
        24, top, "Wound area gone since compression began: median, with the quartiles dashed", "head"
    )
    yield from _area(found, top + 20)


def _weeks(found: Caseload, top: int) -> Iterator[Shape]:
    weeks = list(found.weeks.items())[-_MOST_WEEKS:]
    bottom = top + _HEIGHT
    if not weeks:
        yield words_at(_LEFT, top + 20, "No week has ended yet.")
        return
    most = max([1, *(sum(counts.values()) for _, counts in weeks)])
    yield from _scale(top, most, "")
    step = (_RIGHT - _LEFT) / len(weeks)
    every = -(-len(weeks) // _MOST_LABELS)
    for place, (day, counts) in enumerate(weeks):
        x, y = _LEFT + step * place, float(bottom)
        for tier in reversed(SHOWN_TIERS):
            height = _HEIGHT * counts[tier] / most
            if counts[tier]:
                y -= height
                yield bar(x + step * 0.1, y, step * 0.8, height, _FILLS[tier])
        if place % every == 0:
            yield words_at(x + step / 2, bottom + 20, _label(day), "middle")
    for place, tier in enumerate(SHOWN_TIERS):
        y_of_word = top + 30 * place
        yield bar(_RIGHT + 24, y_of_word, 28, 20, _FILLS[tier])
        yield words_at(_RIGHT + 60, y_of_word + 15, tier.replace("_", " "))


def _shares(found: Caseload) -> Iterator[tuple[str, Share]]:
    terms = found.terms
    yield f"fully assessed within {terms.assessment_within} days", found.assessed
    for days, share in found.still_at_starter_tier.items():
        yield f"still at {' or '.join(terms.starter_tiers)} after {days} days", Share(share.count, share.of)
        if share.not_known:
            yield f"not known what is on after {days} days", Share(share.not_known, share.of)


def _share(y: int, label: str, share: Share) -> Iterator[Shape]:
    yield words_at(24, y + 16, label)
    if not share.of:
        yield words_at(330, y + 16, "no leg was followed so long")
        return
    yield bar(330, y, 300, 22, "#ffffff")
    if share.count:
        yield bar(330, y, 300 * share.count / share.of, 22, "url(#moderate)")
    part = percent(Fraction(100 * share.count, share.of))
    yield words_at(644, y + 16, f"{share.count:,} of {share.of:,} legs, {part} %")


def _area(found: Caseload, top: int) -> Iterator[Shape]:
    measured = [(week, one) for week, one in found.area_change.items() if one.of]
    if not measured:
        yield words_at(_LEFT, top + 20, "No wound was measured when compression began.")
        return
    yield from _scale(top, 100, " %")
    last = max([1, *(week for week, _ in measured)])

    def place(week: int, value: Fraction) -> tuple[float, float]:
        shown = float(min(max(value, Fraction(0)), Fraction(100)))
        return _LEFT + (_RIGHT - _LEFT) * week / last, top + _HEIGHT * (1 - shown / 100)

    for lines, dashes in (
        (_medians(measured), "none"),
        (_lowers(measured), "5 4"),
        (_uppers(measured), "5 4"),
    ):
        if len(lines) > 1:
            yield curve([place(week, value) for week, value in lines], dashes)
    for week, one in measured:
        x = place(week, Fraction(0))[0]
        yield words_at(x, top + _HEIGHT + 20, str(week), "middle")
        yield words_at(x, top + _HEIGHT + 40, f"({one.of:,})", "middle")
    yield words_at(_RIGHT + 24, top + _HEIGHT + 20, "weeks")
    yield words_at(_RIGHT + 24, top + _HEIGHT + 40, "(legs); an area that grew stands at 0 %")


def _medians(measured: Sequence[tuple[int, Spread]]) -> list[tuple[int, Fraction]]:
    return [(week, one.median) for week, one in measured if one.median is not None]


def _lowers(measured: Sequence[tuple[int, Spread]]) -> list[tuple[int, Fraction]]:
    return [(week, one.lower) for week, one in measured if one.lower is not None]


def _uppers(measured: Sequence[tuple[int, Spread]]) -> list[tuple[int, Fraction]]:
    return [(week, one.upper) for week, one in measured if one.upper is not None]


def _scale(top: int, most: int, unit: str) -> Iterator[Shape]:
    """Lines across with their values, from 0 to `most`."""
    steps = min(4, most)
    for step in range(steps + 1):
        y = top + _HEIGHT * (steps - step) / steps
        yield rule(_LEFT, _RIGHT, y)
        yield words_at(_LEFT - 8, int(y) + 5, f"{most * step // steps}{unit}", "number")


def _label(day: date) -> str:
    return f"{day.day} {day:%b %y}"
