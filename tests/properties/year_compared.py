"""Runs a simulated year and compares both readings on several of its days."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Final

from limbtier.domain.due_reviews import DueFilter
from tests.properties.caseload_comparison import Comparison, whole_list
from tests.properties.plain_caseload import Note, read_log
from tests.support.simulated_year import ORGANISATION, OTHER_ORGANISATION, SimulatedYear, service_in

SNAPSHOTS: Final = (
    date(2027, 10, 31),
    date(2027, 12, 31),
    date(2028, 2, 29),
    date(2028, 3, 26),
    date(2028, 8, 31),
)
AS_OF: Final = (date(2027, 10, 30), date(2028, 1, 1), date(2028, 3, 27), date(2028, 8, 31))


def compare_year(
    folder: Path, episodes: int, seed: int, told: Callable[[str], object] = lambda _line: None
) -> tuple[Comparison, Counter[str]]:
    """What was compared in a year of so many episodes, and what happened in it."""
    comparison = Comparison()
    with service_in(folder, seed) as service:
        year = SimulatedYear(service, episodes, seed)
        notes: Mapping[str, Sequence[Note]] = {}
        for day in SNAPSHOTS:
            year.run(day)
            organisations = read_log(service.entries())
            told(f"{day}: {sum(map(len, organisations.values()))} episodes")
            for organisation in (ORGANISATION, OTHER_ORGANISATION):
                comparison.due_list(service, organisation, organisations.get(organisation, {}), day)
            notes = organisations.get(ORGANISATION, {})
            comparison.picture(service, ORGANISATION, notes, day)
        for as_of in AS_OF:
            comparison.picture(service, ORGANISATION, notes, as_of)
        comparison.picture(service, ORGANISATION, notes, SNAPSHOTS[-1], date(2027, 10, 31), date(2028, 3, 26))
        kept = whole_list(service.due, DueFilter(ORGANISATION, date.max))
        service.episodes.rebuild(service.log.store)
        rebuilt = whole_list(service.due, DueFilter(ORGANISATION, date.max))
        comparison.same("worked out anew from the log", "episodes", rebuilt, kept)
    return comparison, year.counts
