"""Compares the due list and the caseload picture of the service with the second reading of its log."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Any, Final

from limbtier.domain.caseload import Caseload, Spread
from limbtier.domain.due_reviews import STATUSES, DueEpisode, DueFilter
from limbtier.store.due_list import DueMark, DueTable, mark_of
from limbtier.use_cases.picture_caseload import picture_caseload
from tests.properties.plain_caseload import Note, PlainDue, open_episodes, plain_picture
from tests.support.simulated_year import Service

PAGE: Final = 17
FILTERS: Final[Sequence[Mapping[str, Any]]] = (
    {},
    {"statuses": ("stuck_on_starter_tier",)},
    {"statuses": ("assessment_overdue", "due"), "tiers": ("mild", "none")},
    {"calendars": ("wales", "scotland"), "tiers": ("strong",)},
)


class Comparison:
    """What was compared, and where both readings differ."""

    def __init__(self) -> None:
        self.compared: Counter[str] = Counter()
        self.differences: list[str] = []

    def same(self, what: str, name: object, service: object, plain: object) -> None:
        """One value of both."""
        self.compared[what] += 1
        if service != plain:
            self.differences.append(f"{what}, {name}: service {service}, plain {plain}")

    def due_list(
        self, service: Service, organisation: str, episodes: Mapping[str, Sequence[Note]], day: date
    ) -> None:
        """Every open episode and the list of a day, page by page, with filters and counts."""
        plain = open_episodes(episodes)
        shown = {one.reference: one for one in whole_list(service.due, DueFilter(organisation, date.max))}
        self.same("open episodes", day, sorted(shown), sorted(one.reference for one in plain))
        for one in plain:
            if one.reference in shown:
                self._episode(day, shown[one.reference], one)
        for by in (day, day + timedelta(days=10)):
            for chosen in FILTERS:
                wanted = DueFilter(organisation, by, **chosen)
                fitting = [one for one in plain if _fits(one, wanted)]
                name = f"{by} {chosen}"
                listed = [one.reference for one in whole_list(service.due, wanted)]
                self.same("order of the list", name, listed, [one.reference for one in fitting])
                held = Counter(status for one in fitting for status in one.statuses(by))
                counts: dict[str, int] = {"all": len(fitting)}
                counts.update((status, held[status]) for status in STATUSES)
                self.same("counts", name, service.due.counts(wanted), counts)
        reviews = [
            one.reference for one in service.due.reviews(organisation, day, day + timedelta(days=6), 10_000)
        ]
        week = sorted((one.review, one.reference) for one in plain if 0 <= (one.review - day).days <= 6)
        self.same("reviews of a week", day, reviews, [reference for _, reference in week])

    def _episode(self, day: date, service: DueEpisode, plain: PlainDue) -> None:
        name = f"{plain.reference} on {day}"
        self.same("review due", name, service.review_due_on, plain.review)
        self.same("stuck since", name, service.stuck_on, plain.stuck)
        self.same("assessment overdue since", name, service.assessment_on, plain.unassessed)
        self.same("since", name, service.since, plain.since)
        self.same("tier", name, service.tier, plain.tier)
        self.same("disposition", name, service.disposition, plain.disposition)
        self.same("calendar", name, service.calendar, plain.calendar)
        self.same("statuses", name, set(service.statuses(day)), plain.statuses(day))

    def picture(
        self,
        service: Service,
        organisation: str,
        episodes: Mapping[str, Sequence[Note]],
        as_of: date,
        first: date | None = None,
        before: date | None = None,
    ) -> None:
        """The picture of a caseload, number by number."""
        found = picture_caseload(
            service.due, organisation, service.keeping, service.terms, as_of, first, before
        )
        plain = plain_picture(episodes, as_of, first, before)
        shown = dict(_numbers(found))
        self.same("names of the picture", as_of, sorted(shown), sorted(plain))
        for name in plain.keys() & shown.keys():
            if name == "weeks":
                self.same("weeks", as_of, sorted(shown[name]), sorted(plain[name]))
                for sunday in shown[name].keys() & plain[name].keys():
                    self.same("legs by tier", sunday, shown[name][sunday], plain[name][sunday])
            else:
                self.same("numbers of the picture", f"{name} as of {as_of}", shown[name], plain[name])


def whole_list(table: DueTable, wanted: DueFilter) -> list[DueEpisode]:
    """The whole list, page by page."""
    found: list[DueEpisode] = []
    after: DueMark | None = None
    while True:
        page = table.find(wanted, after, PAGE)
        found += page
        if len(page) < PAGE:
            return found
        after = mark_of(page[-1])


def _fits(one: PlainDue, wanted: DueFilter) -> bool:
    return (
        one.since <= wanted.by
        and (not wanted.statuses or bool(one.statuses(wanted.by) & set(wanted.statuses)))
        and (not wanted.tiers or one.tier in wanted.tiers)
        and (not wanted.calendars or one.calendar in wanted.calendars)
    )


def _numbers(found: Caseload) -> Iterator[tuple[str, Any]]:
    yield "legs", found.legs
    yield "open_legs", found.open_legs
    yield "weeks", {sunday: dict(counts) for sunday, counts in found.weeks.items()}
    for tier, reached in found.reached.items():
        yield f"days to {tier}", _spread(reached.days)
        for days, share in reached.by_days.items():
            yield f"{tier} by day {days}", (share.count, share.of)
    yield "assessed", (found.assessed.count, found.assessed.of)
    for days, starter in found.still_at_starter_tier.items():
        yield f"starter after {days}", (starter.count, starter.not_known, starter.of)
    for week, gone in found.area_change.items():
        yield f"area gone by week {week}", _spread(gone)


def _spread(one: Spread) -> tuple[Any, ...]:
    return one.of, one.lower, one.median, one.upper
