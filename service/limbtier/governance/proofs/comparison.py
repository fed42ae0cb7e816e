"""Two editions compared over every assessment: equivalent, or every way in which they decide differently."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from limbtier.engine.prepared import PreparedEdition
from limbtier.governance.proofs.differing_inputs import request_for_both, unlike_inputs
from limbtier.governance.proofs.distinctions import Distinction, Distinctions, affected_rules
from limbtier.governance.proofs.encoding import encode
from limbtier.governance.proofs.formulas import Formula, all_of, any_of, negated
from limbtier.governance.proofs.kinds import Direction, Kind, kinds_of
from limbtier.governance.proofs.replay import CannotReplay, Replayed, Replayer, in_words
from limbtier.governance.proofs.requests import Domain
from limbtier.governance.proofs.session import MILLISECONDS, Found, NoneFound, NotSettled, Session
from limbtier.governance.proofs.witness import Answers, Moment
from limbtier.governance.proofs.witness import in_words as answers_in_words
from limbtier.governance.proofs.workbench import shrunk, volume_edges
from limbtier.governance.proofs.worked_case import DECIDED_NOW, worked_case
from limbtier.measures.working_days import WorkingCalendar

MOST_OF_A_KIND: Final = 10
MOST_REGIONS: Final = 200


@dataclass(frozen=True, slots=True)
class Region:
    """Assessments that two editions decide differently in one way.

    `conditions` are enough: whenever all of them hold the decisions differ so, and no condition can be left
    out. `request` is one such assessment with few other answers; `words` are its answers, `before` and
    `after` what the engine says with each edition, `worked_case` the text of a case that expects what the
    later edition says.
    """

    change: str
    direction: Direction
    conditions: tuple[str, ...]
    request: Mapping[str, Any]
    words: tuple[str, ...]
    before: tuple[str, ...]
    after: tuple[str, ...]
    worked_case: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """All differences between two editions, by id. `unlike_inputs` are questions that they ask differently;
    only requests that both take are compared, each given the answers that it knows.

    Every change that there is has a region. `more` names the changes for which not all regions are named;
    `incomplete` says why changes may be missing, and is empty when none is.
    """

    before: str
    after: str
    unlike_inputs: tuple[str, ...]
    regions: tuple[Region, ...]
    more: tuple[str, ...]
    incomplete: str

    @property
    def equivalent(self) -> bool:
        """Whether both decide every assessment alike."""
        return not self.regions and not self.incomplete


def compare(
    before: PreparedEdition,
    after: PreparedEdition,
    calendars: Mapping[str, WorkingCalendar],
    progress: Callable[[Region], None] = lambda _region: None,
    most: int = MOST_REGIONS,
    most_of_a_kind: int = MOST_OF_A_KIND,
    milliseconds: int = MILLISECONDS,
) -> Comparison:
    """Every way in which the editions decide differently, for each pair of periods of their settings that
    has a day in common. At most `most_of_a_kind` regions are named for one change, and `most` for all; where
    there are more, that is said. Raises UnsupportedConstruct."""
    regions: list[Region] = []
    more: list[str] = []
    incomplete = ""
    for day, end in _common_periods(before, after):
        pair = _Pair(before, after, calendars, (day, end), milliseconds)
        pair.most_of_a_kind = most_of_a_kind
        for region in pair.regions():
            if len(regions) == most:
                incomplete = f"inconclusive: more than {most} regions"
                break
            progress(region)
            regions.append(region)
        for reason in pair.unsettled[:1]:
            incomplete = incomplete or f"inconclusive: {reason}"
        more += pair.more
    return Comparison(
        before.edition.id,
        after.edition.id,
        unlike_inputs(before.edition.vocabulary, after.edition.vocabulary),
        tuple(regions),
        tuple(more),
        incomplete,
    )


def _common_periods(before: PreparedEdition, after: PreparedEdition) -> Iterator[tuple[date, date | None]]:
    """The periods in which the settings of neither change, each pair of settings once."""
    first = max(before.periods.starts[0], after.periods.starts[0])
    later = {*before.periods.starts, *after.periods.starts}
    starts = [first, *sorted(day for day in later if day > first)]
    seen: list[tuple[object, object]] = []
    for place, day in enumerate(starts):
        settings = before.periods.on(day), after.periods.on(day)
        if settings not in seen:
            seen.append(settings)
            yield day, starts[place + 1] if place + 1 < len(starts) else None


class _Unsettled(Exception):
    """Some differences could not be settled; the text says why."""


class _Pair:
    """Two editions over the same requests, in one period."""

    def __init__(
        self,
        before: PreparedEdition,
        after: PreparedEdition,
        calendars: Mapping[str, WorkingCalendar],
        days: tuple[date, date | None],
        milliseconds: int,
    ) -> None:
        domain = Domain(edges=(*volume_edges(before), *volume_edges(after)))
        self.request = request_for_both(before.edition.vocabulary, after.edition.vocabulary, domain)
        self.before = encode(before.edition, before.periods.on(days[0]), self.request, domain)
        self.after = encode(after.edition, after.periods.on(days[0]), self.request, domain)
        self.session = Session(domain, milliseconds)
        self.session.require(*self.before.accepted, *self.after.accepted)
        self.replayers = Replayer(before, calendars), Replayer(after, calendars)
        self.moments: list[Moment] = list(self.replayers[0].moments(*days))
        self.affected = affected_rules(self.before, self.after)
        self._distinctions = Distinctions(self.before, self.after, self.affected)
        self.more: list[str] = []
        self.unsettled: list[str] = []
        self.most_of_a_kind = MOST_OF_A_KIND

    def regions(self) -> Iterator[Region]:
        """Every region, kind by kind."""
        for group in kinds_of(self.before, self.after):
            if isinstance(self.session.find(any_of(kind.formula for kind in group)), NoneFound):
                continue
            for kind in group:
                try:
                    yield from self._regions_of(kind)
                except _Unsettled as error:
                    self.unsettled.append(str(error))

    def _regions_of(self, kind: Kind) -> Iterator[Region]:
        """Regions that together hold every assessment which shows the kind, as many as are to be named."""
        tried: list[Formula] = []
        distinctions: list[list[Distinction]] = []
        while not isinstance(answer := self.session.find(kind.formula, *tried, few=self.request), NoneFound):
            if isinstance(answer, NotSettled):
                raise _Unsettled(answer.reason)
            if len(tried) == self.most_of_a_kind:
                self.more.append(kind.change)
                return
            distinctions = distinctions or self._distinctions.of_kind(kind)
            chosen = self._conditions(kind, distinctions, answer)
            tried.append(negated(all_of(formula for formula, _ in chosen)))
            # The first of a kind is reduced as far as it goes; the others have few answers as they are.
            conditions = tuple(words for _, words in chosen)
            yield self._region(kind, answer, conditions, reduced=len(tried) == 1)

    def _conditions(
        self, kind: Kind, distinctions: Sequence[Sequence[Distinction]], found: Found
    ) -> list[tuple[Formula, str]]:
        """Statements about the assessment that was found which are enough for the difference."""
        stated = [[_stated(one, found) for one in group] for group in distinctions]
        with self.session.supposing(negated(kind.formula)):
            needed = self.session.needed([[formula for formula, _ in group] for group in stated])
        if needed is None:
            raise _Unsettled(f"what this hangs on could not be named: {kind.change}")
        flat = [one for group in stated for one in group]
        return [flat[place] for place in needed]

    def _region(self, kind: Kind, found: Found, conditions: tuple[str, ...], *, reduced: bool) -> Region:
        if not self.moments:
            raise _Unsettled("no calendar reaches the period in which these settings hold")

        def confirm(answers: Answers) -> tuple[Replayed, Replayed] | None:
            one, other = (replayer.decide(answers, self.moments[0]) for replayer in self.replayers)
            return (one, other) if kind.shows(one.decision, other.decision) else None

        answers = found.answers(self.request)
        try:
            shown = confirm(answers)
        except CannotReplay as error:
            raise _Unsettled(f"the encoding disagrees with the engine ({error})") from error
        if shown is None:
            reason = "the encoding disagrees with the engine, which is a fault of limbtier"
            raise _Unsettled(reason if found.exact else "a measure may have a value that nothing gives it")
        one, other = (confirm(shrunk(answers, confirm)) if reduced else None) or shown
        vocabularies = self.before.edition.vocabulary, self.after.edition.vocabulary
        words = dict.fromkeys(
            line for one_of in vocabularies for line in answers_in_words(one_of, one.answers)
        )
        earlier = f"{kind.change}. Before this edition: {in_words(one)[0]}"
        return Region(
            kind.change,
            kind.direction,
            conditions,
            other.request,
            tuple(words),
            in_words(one),
            in_words(other),
            worked_case(self.after.edition, kind.change, earlier, DECIDED_NOW, other),
        )


def _stated(one: Distinction, found: Found) -> tuple[Formula, str]:
    if found.holds(one.formula):
        return one.formula, one.words
    return negated(one.formula), one.denied
