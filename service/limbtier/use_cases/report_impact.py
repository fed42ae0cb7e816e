"""Measures the impact of an edition and reports it: a summary to read, and files of all of it."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from datetime import time as clock_time
from pathlib import Path
from typing import Final, TextIO

import orjson

from limbtier.domain.assessment import UNITED_KINGDOM
from limbtier.domain.edition import Edition
from limbtier.domain.entry import DecisionFilter
from limbtier.governance.impact import Impact
from limbtier.governance.impact_plot import impact_svg
from limbtier.governance.impact_record import Measured, impact_csv, impact_record, impact_text
from limbtier.use_cases.compare_editions import edition_named
from limbtier.use_cases.measure_impact import Candidate, measure_impact
from limbtier.use_cases.past_assessments import DecisionsOfLog, LinesOfFile, PastAssessments

SECONDS_BETWEEN_PROGRESS: Final = 1.0
FORMS: Final[Mapping[str, Callable[[Impact, Measured], bytes]]] = {
    "json": lambda impact, measured: orjson.dumps(
        impact_record(impact, measured), option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE
    ),
    "csv": lambda impact, _measured: impact_csv(impact).encode(),
    "svg": lambda impact, measured: impact_svg(impact, measured).encode(),
}
"""The forms in which all of an impact can be written."""


@dataclass(frozen=True, slots=True)
class Past:
    """Which past assessments, in words, and what they are compared with."""

    assessments: PastAssessments
    source: str
    decided: str


def lines_of_file(file: Path) -> Past:
    """Assessments or decision records, one a line. Raises FileNotFoundError."""
    if not file.is_file():
        raise FileNotFoundError(f"{file} is no file")
    words = "what was decided then, for decision records, and what the service would decide now, for others"
    return Past(LinesOfFile(file), f"the lines of {file.name}", words)


def decisions_of_log(database: str, organisation: str, first: date | None, before: date | None) -> Past:
    """Decisions of one organisation in the log, made from one day on and before another, by the clocks of the
    United Kingdom."""
    wanted = DecisionFilter(organisation, decided_from=_midnight(first), decided_before=_midnight(before))
    words = f"decisions of {organisation} in the log"
    words += f", from {first}" if first else ""
    words += f", before {before}" if before else ""
    return Past(DecisionsOfLog(database, wanted), words, "what was decided then")


def _midnight(day: date | None) -> datetime | None:
    return None if day is None else datetime.combine(day, clock_time(), UNITED_KINGDOM)


def measured_of(past: Past, edition: Edition, against: str | None) -> Measured:
    """What is measured, in words: `against` is an edition, or None for what was decided."""
    return Measured(edition, past.source, past.decided if against is None else f"what {against} decides")


def report_impact(
    past: Past, candidate: Candidate, files: Mapping[str, Path], out: TextIO, err: TextIO
) -> int:
    """Measure, write the files by form (`json`, `csv`, `svg`), and print the summary; progress goes to `err`.

    Returns 0, or 1 when an assessment could not be decided. Raises as `measure_impact`, and OSError before
    anything is measured when a file cannot be written.
    """
    for file in files.values():
        file.open("ab").close()  # better found out before than after
    edition = edition_named(candidate.rules(), candidate.edition).edition
    impact = measure_impact(past.assessments, candidate, _Progress(err).told)
    measured = measured_of(past, edition, candidate.against)
    for form, file in files.items():
        file.write_bytes(FORMS[form](impact, measured))
        err.write(f"wrote {file}\n")
    out.write(impact_text(impact, measured))
    return 1 if impact.not_decided else 0


class _Progress:
    """Tells now and then how far it is."""

    def __init__(self, err: TextIO) -> None:
        self._err = err
        self._start = self._told = time.monotonic()

    def told(self, impact: Impact, share: float) -> None:
        """A line, at most one a second."""
        now = time.monotonic()
        if now - self._told < SECONDS_BETWEEN_PROGRESS and share < 1:
            return
        self._told = now
        left = (now - self._start) * (1 - share) / share if share else 0
        self._err.write(
            f"{share:4.0%}  {impact.assessments:,} assessments, {len(impact.changes):,} legs differ, "
            f"{len(impact.not_decided):,} not decided, {left:.0f} s left\n"
        )
        self._err.flush()
