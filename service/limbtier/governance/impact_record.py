"""The impact of an edition as data, as a table for spreadsheets, and as a few lines for a terminal."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from limbtier.domain.edition import Edition
from limbtier.governance.impact import Cause, Impact, LegChange, LegOutcome

_MOST_LINES: Final = 10
_COLUMNS: Final = (
    "what",
    "reference",
    "link",
    "episode",
    "leg",
    "edition before",
    "disposition before",
    "disposition after",
    "tier before",
    "tier after",
    "tier moves",
    "target before",
    "target after",
    "review before",
    "review after",
    "review moves",
    "made by",
)
# A spreadsheet takes a cell that begins with one of these for a formula.
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n")


@dataclass(frozen=True, slots=True)
class Measured:
    """What an impact is of: the edition, which assessments, and what they are compared with, in words."""

    edition: Edition
    source: str
    compared_with: str

    def notes(self) -> tuple[str, ...]:
        """What a reader of the numbers must know."""
        return (
            "Every leg counts once for each assessment; a person who was seen often counts as often.",
            "The edition decides each assessment as of its own day, also days before it is in force.",
            "Higher tiers and later reviews are less cautious. Whether that is right, people must judge.",
            "The numbers say nothing about other assessments; the comparison of the two editions does.",
        )


def impact_record(impact: Impact, measured: Measured) -> dict[str, Any]:
    """Everything, as JSON-able data."""
    edition = measured.edition
    ranks = _ranks(edition)
    moved = impact.moved(ranks)
    return {
        "edition": {"id": edition.id, "digest": edition.digest, "status": edition.status},
        "source": measured.source,
        "compared_with": measured.compared_with,
        "notes": measured.notes(),
        "assessments": impact.assessments,
        "legs": impact.legs,
        "legs_that_differ": len(impact.changes),
        "editions_before": dict(sorted(impact.editions.items())),
        "tier_moves": {name: moved[name] for name in ("up", "down", "same")},
        "review_moves": {name: impact.reviews[name] for name in ("earlier", "later", "same")},
        "tiers": [
            {"before": before, "after": after, "legs": count}
            for (before, after), count in sorted(
                impact.tiers.items(), key=lambda item: (ranks[item[0][0]], ranks[item[0][1]])
            )
        ],
        "dispositions": _pairs(impact.dispositions),
        "made_by": [
            {"rule": cause.rule, "effect": cause.effect, "tier": cause.tier, "legs": count}
            for cause, count in by_count(impact)
        ],
        "changes": [_change(change) for change in impact.changes],
        "not_decided": [
            {
                "reference": one.reference,
                "link": one.link,
                "edition": one.edition,
                "code": one.code,
                "reasons": one.reasons,
            }
            for one in impact.not_decided
        ],
    }


def impact_csv(impact: Impact) -> str:
    """A row for each leg that differs and for each assessment that was not decided (RFC 4180). Cells that a
    spreadsheet would take for a formula begin with an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_COLUMNS)
    for change in impact.changes:
        was, now = change.before, change.after
        writer.writerow(
            _safe(cell)
            for cell in (
                "differs",
                change.reference,
                change.link or "",
                change.episode or "",
                change.side,
                change.edition,
                was.disposition,
                now.disposition,
                was.tier,
                now.tier,
                change.tier,
                was.target_tier,
                now.target_tier,
                was.review_due_on,
                now.review_due_on,
                change.review,
                "; ".join(map(str, change.causes)),
            )
        )
    for one in impact.not_decided:
        blanks = [""] * (len(_COLUMNS) - 5)
        reasons = "; ".join((f"{one.edition}: {one.code}", *one.reasons))
        cells = ("not decided", one.reference, one.link or "", "", *blanks, reasons)
        writer.writerow(_safe(cell) for cell in cells)
    return out.getvalue()


def impact_text(impact: Impact, measured: Measured) -> str:
    """The counts, what made the difference, and the first of what was not decided."""
    return "\n".join(_lines(impact, measured)) + "\n"


def _lines(impact: Impact, measured: Measured) -> Iterator[str]:
    moved = impact.moved(_ranks(measured.edition))
    yield f"Impact of {measured.edition.id} ({measured.edition.status}) on {measured.source}"
    yield f"compared with {measured.compared_with}."
    yield ""
    yield f"{sizes(impact)}."
    yield f"Tier: {moved['up']:,} up, {moved['down']:,} down, {moved['same']:,} the same."
    yield (
        f"Review: {impact.reviews['earlier']:,} earlier, {impact.reviews['later']:,} later, "
        f"{impact.reviews['same']:,} the same."
    )
    changed = [pair for pair in _pairs(impact.dispositions) if pair["before"] != pair["after"]]
    for pair in changed:
        yield f"  {pair['before']} becomes {pair['after']}: {counted(pair['legs'], 'leg')}"
    if impact.causes:
        yield "Made by:"
        yield from (f"  {cause}: {counted(count, 'leg')}" for cause, count in by_count(impact)[:_MOST_LINES])
        yield from _more(len(impact.causes))
    if impact.not_decided:
        yield "Not decided:"
        for one in impact.not_decided[:_MOST_LINES]:
            yield f"  {one.reference}, by {one.edition}: {one.code}: {' '.join(one.reasons)}"
        yield from _more(len(impact.not_decided))
    yield ""
    yield from measured.notes()


def _more(count: int) -> Iterator[str]:
    if count > _MOST_LINES:
        yield f"  and {count - _MOST_LINES:,} more, in the JSON and the CSV"


def by_count(impact: Impact) -> list[tuple[Cause, int]]:
    """What made the difference, the most frequent first."""
    return sorted(
        impact.causes.items(), key=lambda item: (-item[1], item[0].rule, item[0].effect, item[0].tier or "")
    )


def sizes(impact: Impact) -> str:
    """How many assessments and legs, and how many of them are listed."""
    return (
        f"{counted(impact.assessments, 'assessment')}, {counted(impact.legs, 'leg')}; "
        f"{len(impact.changes):,} of the legs differ, "
        f"{len(impact.not_decided):,} of the assessments were not decided"
    )


def counted(count: int, word: str) -> str:
    """A number of things, such as `1 leg` or `1,200 legs`."""
    return f"{count:,} {word}{'' if count == 1 else 's'}"


def _ranks(edition: Edition) -> dict[str, int]:
    return {tier.name: rank for rank, tier in enumerate(edition.tiers)}


def _pairs(counted: Counter[tuple[str, str]]) -> list[dict[str, Any]]:
    return [
        {"before": before, "after": after, "legs": count}
        for (before, after), count in sorted(counted.items())
    ]


def _change(change: LegChange) -> dict[str, Any]:
    return {
        "reference": change.reference,
        "link": change.link,
        "episode": change.episode,
        "leg": change.side,
        "edition_before": change.edition,
        "before": _outcome(change.before),
        "after": _outcome(change.after),
        "tier": change.tier,
        "review": change.review,
        "made_by": [
            {"rule": cause.rule, "effect": cause.effect, "tier": cause.tier} for cause in change.causes
        ],
    }


def _outcome(outcome: LegOutcome) -> dict[str, str]:
    return {
        "disposition": outcome.disposition,
        "tier": outcome.tier,
        "target_tier": outcome.target_tier,
        "review_due_on": outcome.review_due_on,
    }


def _safe(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_FORMULA) else cell
