"""What a caseload comes to, as JSON, as CSV and as text for a terminal."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from fractions import Fraction
from typing import Any, Final

from limbtier.domain.caseload import SHOWN_TIERS, Caseload, Share, Spread, StarterShare

COLUMNS: Final = ("figure", "at", "tier", "count", "of", "lower_quartile", "median", "upper_quartile")


def caseload_record(found: Caseload) -> dict[str, Any]:
    """All of it. A share has its numbers of legs beside it; `null` where there is nothing to divide by."""
    terms = found.terms
    return {
        "area_change_percent": [{"week": week, **_spread(one)} for week, one in found.area_change.items()],
        "as_of": found.as_of.isoformat(),
        "assessed": {"within_days": terms.assessment_within, **_share(found.assessed)},
        "legs": found.legs,
        "open_legs": found.open_legs,
        "reached": [
            {
                "by_days": [{"days": days, **_share(one)} for days, one in reached.by_days.items()],
                "days_from_first_contact": _spread(reached.days),
                "tier": tier,
            }
            for tier, reached in found.reached.items()
        ],
        "starter_tiers": list(terms.starter_tiers),
        "still_at_starter_tier": [
            {"after_days": days, "not_known": one.not_known, **_share(Share(one.count, one.of))}
            for days, one in found.still_at_starter_tier.items()
        ],
        "weeks": [{"ends_on": day.isoformat(), "legs": dict(counts)} for day, counts in found.weeks.items()],
    }


def caseload_csv(found: Caseload) -> str:
    """The same as rows; every row stands by itself."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    writer.writerows(_rows(found))
    return text.getvalue()


def _rows(found: Caseload) -> Iterator[tuple[object, ...]]:
    yield "legs", found.as_of, "", found.legs, found.legs, "", "", ""
    yield "open_legs", found.as_of, "", found.open_legs, found.legs, "", "", ""
    for day, counts in found.weeks.items():
        for tier, count in counts.items():
            yield "legs_at_tier", day, tier, count, sum(counts.values()), "", "", ""
    for tier, reached in found.reached.items():
        yield ("days_to_tier", "", tier, reached.days.of, found.legs, *_shown(reached.days))
        for days, share in reached.by_days.items():
            yield "reached_by_days", days, tier, share.count, share.of, "", "", ""
    one = found.assessed
    yield "assessed_within_days", found.terms.assessment_within, "", one.count, one.of, "", "", ""
    for days, starters in found.still_at_starter_tier.items():
        yield "still_at_starter_tier_after_days", days, "", starters.count, starters.of, "", "", ""
        yield "tier_not_known_after_days", days, "", starters.not_known, starters.of, "", "", ""
    for week, spread in found.area_change.items():
        yield ("area_change_percent_at_week", week, "", spread.of, "", *_shown(spread))


def caseload_text(found: Caseload) -> str:
    """A summary to read."""
    terms = found.terms
    starter = " or ".join(terms.starter_tiers)
    lines = [
        f"{found.legs:,} legs up to {found.as_of}, {found.open_legs:,} of them in open episodes.",
        f"Fully assessed within {terms.assessment_within} days: {_of(found.assessed)}.",
    ]
    lines += [
        f"Still at {starter} {days} days after compression began there: {_of_starters(share)}."
        for days, share in found.still_at_starter_tier.items()
    ]
    for tier, reached in found.reached.items():
        days = reached.days
        took = f"median {percent(days.median)} days" if days.of else "none yet"
        lines.append(f"Came to {tier} or higher: {days.of:,} of {found.legs:,} legs, {took}.")
    measured = [(week, one) for week, one in found.area_change.items() if week and one.of]
    lines += [
        f"Wound area {week} weeks after the start: {percent(one.median)} % gone at the median, of {one.of:,}."
        for week, one in measured
        if week % 4 == 0
    ]
    if found.weeks:
        day, counts = list(found.weeks.items())[-1]
        shown = ", ".join(
            f"{counts[tier]:,} {tier.replace('_', ' ')}" for tier in SHOWN_TIERS if counts[tier]
        )
        lines.append(f"On {day}: {shown or 'no open leg'}.")
    return "\n".join(lines) + "\n"


def percent(value: Fraction | None) -> str:
    """A number to one place, half up, for reading; `-` where there is none."""
    if value is None:
        return "-"
    tenths = (abs(value) * 20 + 1) // 2
    sign = "-" if value < 0 and tenths else ""
    return f"{sign}{tenths // 10}.{tenths % 10}"


def _of(share: Share) -> str:
    if not share.of:
        return "no leg followed so long"
    return f"{share.count:,} of {share.of:,} ({percent(Fraction(100 * share.count, share.of))} %)"


def _of_starters(share: StarterShare) -> str:
    not_known = f", and not known of {share.not_known:,}" if share.not_known else ""
    return _of(Share(share.count, share.of)) + not_known


def _share(share: Share) -> dict[str, Any]:
    part = None if not share.of else percent(Fraction(100 * share.count, share.of))
    return {"count": share.count, "of": share.of, "percent": part}


def _spread(spread: Spread) -> dict[str, Any]:
    lower, median, upper = (one or None for one in _shown(spread))
    return {"lower_quartile": lower, "median": median, "of": spread.of, "upper_quartile": upper}


def _shown(spread: Spread) -> tuple[str, str, str]:
    lower, median, upper = (
        "" if one is None else percent(one) for one in (spread.lower, spread.median, spread.upper)
    )
    return lower, median, upper
