"""Judges editions as a governance team needs it: worked cases run, then every check."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import Final

from limbtier.domain.assessment import day_of
from limbtier.domain.edition import Edition
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.governance.checks.context import Context, DecidedCase, Prover
from limbtier.governance.checks.places import Places
from limbtier.governance.checks.registry import CHECKS
from limbtier.governance.checks.run import Judged, Judgement, judge
from limbtier.measures.working_days import WorkingCalendar
from limbtier.rulesets.read_checks import FILE, CheckSettings, checks_of
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.run_worked_cases import CaseResult, run_worked_cases

_NO_FILES: Final[Mapping[str, bytes]] = MappingProxyType({})
# Makes the prover of an edition; it is passed in, so that nobody loads the solver who does not ask it.
ProverFor = Callable[[PreparedEdition, Mapping[str, WorkingCalendar]], Prover]


@dataclass(frozen=True, slots=True)
class EditionReport:
    """What is wrong with one edition: worked cases that differ, then what the checks found."""

    edition: Edition
    cases: tuple[CaseResult, ...]
    judgement: Judgement

    @property
    def failed_cases(self) -> tuple[Diagnostic, ...]:
        """What the worked cases say; empty when all come out as expected."""
        return tuple(problem for result in self.cases for problem in result.problems)

    @property
    def diagnostics(self) -> tuple[Diagnostic, ...]:
        """Everything that stands, errors first."""
        found = [*self.failed_cases, *(one.diagnostic() for one in self.judgement.found)]
        return tuple(sorted(found, key=lambda item: item.severity != "error"))

    @property
    def accepted(self) -> tuple[Judged, ...]:
        """What was found and accepted."""
        return self.judgement.accepted


class EditionChecker:
    """Judges the editions of a rules folder on one day, each once, its base before it."""

    def __init__(
        self,
        rules: ReadyRules,
        folder: Path,
        day: date,
        prover_for: ProverFor | None,
        added: Mapping[str, bytes] = _NO_FILES,
    ) -> None:
        """Reads `checks.yaml`. `added` are files that do not lie in the folder, by their path in it. Raises
        InvalidRuleFiles when it cannot be used."""
        self._rules = rules
        self._added = added
        self._folder = folder
        self._day = day
        self._prover_for = prover_for
        self._settings: CheckSettings = checks_of(self._read(FILE), CHECKS, rules.editions)
        self._reports: dict[str, EditionReport] = {}

    def report(self, edition_id: str) -> EditionReport:
        """What is wrong with an edition. Raises KeyError for one that is not there."""
        if edition_id not in self._reports:
            prepared = self._rules.editions[edition_id]
            base = prepared.edition.based_on
            below = self.report(base).judgement.keys if base is not None else frozenset()
            results = tuple(run_worked_cases(prepared, self._rules.calendars))
            places = Places(tuple(self._with_bases(prepared.edition)), self._read)
            judgement = judge(prepared.edition, self.context_of(prepared, results), places, below)
            self._reports[edition_id] = EditionReport(prepared.edition, results, judgement)
        return self._reports[edition_id]

    def context_of(self, prepared: PreparedEdition, results: Sequence[CaseResult]) -> Context:
        """What checks may look at beside an edition, its worked cases as they came out among it."""
        make = self._prover_for
        return Context(
            day=self._day,
            settings=self._settings,
            guard_rails=prepared.guard_rails,
            guard_rail_versions=tuple(
                sorted(file.stem for file in (self._folder / "guard_rails").glob("*.yaml"))
            ),
            cases=tuple(_decided(results)),
            prover_for=partial(make, prepared, self._rules.calendars) if make else None,
        )

    def _with_bases(self, edition: Edition) -> Iterator[Edition]:
        """The edition, and those that it is based on, nearest first."""
        yield edition
        if edition.based_on is not None:
            yield from self._with_bases(self._rules.editions[edition.based_on].edition)

    def _read(self, file: str) -> bytes | None:
        if file in self._added:
            return self._added[file]
        try:
            return (self._folder / file).read_bytes()
        except OSError:
            return None


def _decided(results: Sequence[CaseResult]) -> Iterator[DecidedCase]:
    for result in results:
        limb = result.decision
        if limb is not None:
            assessed_at = datetime.fromisoformat(result.case.assessment["assessed_at"])
            yield DecidedCase(
                result.case,
                day_of(assessed_at),
                limb.trace.facts,
                result.applied,
                limb.tier,
                limb.disposition,
            )
