"""The impact of an edition as a picture (SVG): bars and a table that are read without colour, too."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.governance.impact import Impact, tier_move
from limbtier.governance.impact_record import Measured, by_count, sizes
from limbtier.governance.picture import Shape, bar, picture, rule, words_at

_WIDTH: Final = 1200
_LEFT: Final = 24
_BAR_LEFT: Final = 130
_BAR_WIDTH: Final = 330
_COUNTS_LEFT: Final = _BAR_LEFT + _BAR_WIDTH + 12
_TABLE_LEFT: Final = 780
_COLUMN: Final = 79
_ROW: Final = 34
_BAR_HEIGHT: Final = 22
_SMALLEST: Final = 2.0
_MOST_CAUSES: Final = 8
_LETTERS: Final = 150  # of a line across the picture

# Each kind of leg has a pattern of its own, beside its colour.
_PATTERNS: Final = """
<pattern id="up" width="8" height="8" patternUnits="userSpaceOnUse">
<rect width="8" height="8" fill="#f3c08a"/>
<path d="M-2 2 2 -2M0 8 8 0M6 10 10 6" stroke="#1b1b1b" stroke-width="1.5"/>
</pattern>
<pattern id="down" width="8" height="8" patternUnits="userSpaceOnUse">
<rect width="8" height="8" fill="#bcd7ef"/>
<circle cx="2" cy="2" r="1.2" fill="#1b1b1b"/>
<circle cx="6" cy="6" r="1.2" fill="#1b1b1b"/>
</pattern>
"""
_FILLS: Final[Mapping[str, str]] = {"same": "#e4e4e4", "up": "url(#up)", "down": "url(#down)"}


@dataclass(frozen=True, slots=True)
class _Part:
    """A part of a bar: how it is filled, how many legs, and the word for it."""

    fill: str
    count: int
    word: str


def impact_svg(impact: Impact, measured: Measured) -> str:
    """A picture that a committee can look at; it fetches nothing and holds no reference to any person."""
    title = f"Impact of {measured.edition.id} on {measured.source}"
    return picture(title, _sentences(impact, measured), _drawing(impact, measured), _WIDTH, _PATTERNS)


def _sentences(impact: Impact, measured: Measured) -> Iterator[str]:
    """What the picture shows, for those who do not see it."""
    moved = impact.moved(_ranks(measured.edition))
    yield f"{sizes(impact)}, compared with {measured.compared_with}."
    yield f"Tier: {moved['up']:,} up, {moved['down']:,} down, {moved['same']:,} the same."
    for before, parts in _by_tier(impact, measured.edition):
        yield f"Of those at {before}: " + ", ".join(f"{part.count:,} {part.word}" for part in parts) + "."
    reviews = impact.reviews
    yield f"Review: {reviews['earlier']:,} earlier, {reviews['later']:,} later, {reviews['same']:,} the same."


def _drawing(impact: Impact, measured: Measured) -> Iterator[Shape]:
    """Every shape, with its lower edge."""
    edition = measured.edition
    yield words_at(_LEFT, 36, f"Impact of {edition.id} ({edition.status})", "title")
    about = (f"on {measured.source}, compared with {measured.compared_with}", sizes(impact))
    lines = [line for text in about for line in wrap(text, _LETTERS)]
    yield from (words_at(_LEFT, 60 + 20 * place, line) for place, line in enumerate(lines))
    top = 60 + 20 * len(lines)
    yield from _legend(top)
    top += 60
    yield words_at(_LEFT, top, "Tier before", "head")
    yield words_at(_TABLE_LEFT, top, "Legs by tier after", "head")
    yield from _tiers(impact, edition, top + 12)
    top += 12 + _ROW * (len(edition.tiers) + 1) + 40
    yield words_at(_LEFT, top, "Review", "head")
    reviews = impact.reviews
    parts = (
        _Part("same", reviews["same"], "same"),
        _Part("up", reviews["later"], "later"),
        _Part("down", reviews["earlier"], "earlier"),
    )
    yield from _row(top + 12, "all legs", parts, impact.legs)
    top += 12 + _ROW + 40
    yield words_at(_LEFT, top, "What made the difference", "head")
    causes = by_count(impact)
    most = max((count for _, count in causes), default=1)
    for place, (cause, count) in enumerate(causes[:_MOST_CAUSES]):
        y = top + 12 + place * _ROW
        yield words_at(_BAR_LEFT - 12, y + 16, f"{count:,}", "number")
        yield _rectangle(_BAR_LEFT, y, max(_SMALLEST, 200 * count / most), "#e4e4e4")
        yield words_at(_BAR_LEFT + 212, y + 16, str(cause))
    top += 12 + _ROW * min(len(causes), _MOST_CAUSES) + 16
    if not causes:
        yield words_at(_BAR_LEFT, top, "Nothing: no leg differs.")
    elif len(causes) > _MOST_CAUSES:
        yield words_at(_BAR_LEFT, top, f"and {len(causes) - _MOST_CAUSES:,} more, in the JSON")
    notes = [line for note in measured.notes() for line in wrap(note, _LETTERS)]
    yield from (words_at(_LEFT, top + 36 + 20 * place, line) for place, line in enumerate(notes))


def _tiers(impact: Impact, edition: Edition, top: int) -> Iterator[Shape]:
    """A bar and a row of the table for each tier, the highest at the top."""
    names = [tier.name for tier in reversed(edition.tiers)]
    for place, name in enumerate(names):
        yield words_at(_TABLE_LEFT + _COLUMN * (place + 1) - 8, top + 20, name, "number")
    rows = _by_tier(impact, edition)
    most = max((sum(part.count for part in parts) for _, parts in rows), default=0)
    for place, (before, parts) in enumerate(rows):
        y = top + _ROW * (place + 1)
        yield rule(_LEFT, _WIDTH - _LEFT, y - 6)
        yield from _row(y, before, parts, most)
        for column, after in enumerate(names):
            count = impact.tiers[before, after]
            kind = "number same" if before == after else "number"
            yield words_at(
                _TABLE_LEFT + _COLUMN * (column + 1) - 8, y + 16, f"{count:,}" if count else "-", kind
            )


def _by_tier(impact: Impact, edition: Edition) -> list[tuple[str, Sequence[_Part]]]:
    """For each tier, highest first: how many of its legs stay, go up and go down."""
    ranks = _ranks(edition)
    found: list[tuple[str, Sequence[_Part]]] = []
    for name in reversed(ranks):
        counts = {"same": 0, "up": 0, "down": 0}
        for (before, after), count in impact.tiers.items():
            if before == name:
                counts[tier_move(ranks[before], ranks[after])] += count
        found.append((name, tuple(_Part(kind, count, kind) for kind, count in counts.items())))
    return found


def _row(y: int, label: str, parts: Sequence[_Part], most: int) -> Iterator[Shape]:
    """A label, a bar of parts, and their counts in words."""
    yield words_at(_LEFT, y + 16, label)
    x = float(_BAR_LEFT)
    for part in parts:
        if part.count:
            width = max(_SMALLEST, _BAR_WIDTH * part.count / max(most, 1))
            yield _rectangle(x, y, width, _FILLS[part.fill])
            x += width
    words = ", ".join(f"{part.count:,} {part.word}" for part in parts if part.count) or "none"
    yield words_at(_COUNTS_LEFT, y + 16, words)


def _legend(y: int) -> Iterator[Shape]:
    """What the patterns mean."""
    for place, (kind, words) in enumerate(
        (
            ("same", "the same"),
            ("up", "higher tier, or later review: less cautious"),
            ("down", "lower tier, or earlier review: more cautious"),
        )
    ):
        x = _LEFT + (0, 120, 470)[place]
        yield _rectangle(x, y, 28, _FILLS[kind])
        yield words_at(x + 36, y + 16, words)


def _rectangle(x: float, y: int, width: float, fill: str) -> Shape:
    return bar(x, y, width, _BAR_HEIGHT, fill)


def _ranks(edition: Edition) -> dict[str, int]:
    return {tier.name: rank for rank, tier in enumerate(edition.tiers)}
