"""Long work on editions: checks, proofs, what two editions decide otherwise, and impact on past decisions.

A task is plain data, so that it can go to another process. What comes of it depends on its `parts` alone.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import orjson

from limbtier import __version__
from limbtier.domain.edition import Edition
from limbtier.domain.rule import GuardRails
from limbtier.engine.matcher import MatcherPool
from limbtier.engine.prepared import PreparedEdition, prepare
from limbtier.governance.impact import Impact
from limbtier.measures.working_days import WorkingCalendar
from limbtier.rulesets.read_checks import FILE as CHECKS_FILE
from limbtier.rulesets.read_hazards import FILE as HAZARDS_FILE
from limbtier.use_cases.check_edition import EditionChecker
from limbtier.use_cases.check_report import edition_json
from limbtier.use_cases.compare_editions import compare, show
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.measure_impact import Measurer
from limbtier.use_cases.report_impact import FORMS as IMPACT_FORMS
from limbtier.use_cases.report_impact import decisions_of_log, measured_of

Told = Callable[[int, int | None], None]
"""Told how many parts are done, and of how many, where that is known."""
Outcome = Mapping[str, str]
"""Texts by form, such as `json` and `html`."""


@dataclass(frozen=True, slots=True)
class EditionsAtHand:
    """Every edition with the guard rails that bind it, as the service has them loaded; plain data."""

    editions: Mapping[str, tuple[Edition, GuardRails]]
    calendars: Mapping[str, WorkingCalendar]
    rule_set: str

    @classmethod
    def of(cls, rules: ReadyRules) -> EditionsAtHand:
        """Those of the rules in use."""
        editions = {name: (one.edition, one.guard_rails) for name, one in rules.editions.items()}
        return cls(editions, rules.calendars, rules.rule_set)

    def ready(self, *names: str) -> ReadyRules:
        """Some of them, and those that they are based on, or all, ready to decide."""
        wanted = set(names) or set(self.editions)
        pending = list(wanted)
        while pending:
            base = self.editions[pending.pop()][0].based_on
            if base is not None and base not in wanted:
                wanted.add(base)
                pending.append(base)
        prepared = [
            prepare(edition, guard_rails, MatcherPool)
            for name, (edition, guard_rails) in self.editions.items()
            if name in wanted
        ]
        return ReadyRules.of(prepared, self.calendars, self.rule_set)


@dataclass(frozen=True, slots=True)
class CheckTask:
    """Worked cases and all checks of an edition, as on a day."""

    edition: str
    folder: Path
    day: date

    kind = "checks"
    organisation = None

    def parts(self, rules: ReadyRules) -> list[str]:
        """What the outcome depends on."""
        settings = _digest_of(self.folder / CHECKS_FILE)
        return [*_digests(rules, self.edition), self.day.isoformat(), settings]

    def run(self, at_hand: EditionsAtHand, _told: Told) -> Outcome:
        """Raises InvalidRuleFiles where `checks.yaml` cannot be used."""
        from limbtier.governance.checks.prover import SolverProver  # noqa: PLC0415 - the solver is large

        # All editions, because `checks.yaml` may speak of any.
        report = EditionChecker(at_hand.ready(), self.folder, self.day, SolverProver).report(self.edition)
        return {"json": _json({"day": self.day.isoformat(), **edition_json(report)})}


@dataclass(frozen=True, slots=True)
class HazardTask:
    """The hazard log beside an edition, what it points at looked up in prover and tests."""

    edition: str
    folder: Path
    tests: Path

    kind = "hazards"
    organisation = None

    def parts(self, rules: ReadyRules) -> list[str]:
        """What the outcome depends on; tests do not change while a service runs."""
        return [*_digests(rules, self.edition), _digest_of(self.folder / HAZARDS_FILE)]

    def run(self, at_hand: EditionsAtHand, _told: Told) -> Outcome:
        """Raises InvalidRuleFiles where the log cannot be read, or points at nothing."""
        from limbtier.use_cases.show_hazards import hazards_beside  # noqa: PLC0415 - it needs the solver

        prepared = at_hand.ready(self.edition).editions[self.edition]
        forms = ("json", "html", "markdown")
        return {form: hazards_beside(self.folder, prepared, self.tests, form) for form in forms}


@dataclass(frozen=True, slots=True)
class ProofTask:
    """Everything that must hold of an edition, for every assessment."""

    edition: str

    kind = "proofs"
    organisation = None

    def parts(self, rules: ReadyRules) -> list[str]:
        """What the outcome depends on."""
        return _digests(rules, self.edition)

    def run(self, at_hand: EditionsAtHand, told: Told) -> Outcome:
        """Raises UnsupportedConstruct."""
        from limbtier.governance.proofs.prove import prove_edition  # noqa: PLC0415 - the solver is large
        from limbtier.use_cases.prove_edition import verdict_record  # noqa: PLC0415

        rules = at_hand.ready(self.edition)
        prepared = rules.editions[self.edition]
        done = 0

        def one_more(_verdict: object) -> None:
            nonlocal done
            done += 1
            told(done, None)

        verdicts = [verdict_record(one) for one in prove_edition(prepared, rules.calendars, one_more)]
        kinds = [one["verdict"] for one in verdicts]
        return {
            "json": _json(
                {
                    "edition": self.edition,
                    "digest": prepared.edition.digest,
                    "guard_rails": prepared.guard_rails.version,
                    "all_proved": set(kinds) <= {"proved"},
                    "proved": kinds.count("proved"),
                    "broken": kinds.count("counterexample"),
                    "not_settled": kinds.count("inconclusive"),
                    "verdicts": verdicts,
                }
            )
        }


@dataclass(frozen=True, slots=True)
class BehaviourTask:
    """What two editions say otherwise, and every assessment that they decide otherwise."""

    before: str
    after: str

    kind = "comparison"
    organisation = None

    def parts(self, rules: ReadyRules) -> list[str]:
        """What the outcome depends on."""
        return [*_digests(rules, self.before), *_digests(rules, self.after)]

    def run(self, at_hand: EditionsAtHand, told: Told) -> Outcome:
        """Raises UnsupportedConstruct."""
        found = 0

        def one_more(_region: object) -> None:
            nonlocal found
            found += 1
            told(found, None)

        rules = at_hand.ready(self.before, self.after)
        compared = compare(rules, self.before, self.after, behaviour=True, progress=one_more)
        return {form: show(compared, form) for form in ("json", "html", "markdown")}


@dataclass(frozen=True, slots=True)
class ImpactTask:
    """What an edition would have changed in past decisions of one organisation, from one day on and before
    another; `against` None compares with what was decided. `size` is that of the log."""

    edition: str
    organisation: str
    against: str | None
    first: date | None
    before: date | None
    database: str
    size: int

    kind = "impact"

    def parts(self, rules: ReadyRules) -> list[str]:
        """What the outcome depends on."""
        return [
            *_digests(rules, self.edition),
            *(_digests(rules, self.against) if self.against else ["as decided"]),
            self.organisation,
            str(self.first),
            str(self.before),
            str(self.size),
        ]

    def run(self, at_hand: EditionsAtHand, told: Told) -> Outcome:
        """Raises StoreUnavailable. One process, so that whatever decides meanwhile keeps a core."""
        past = decisions_of_log(self.database, self.organisation, self.first, self.before)
        rules = at_hand.ready(self.edition, *([self.against] if self.against else []))
        against = rules.editions[self.against] if self.against else None
        candidate = rules.editions[self.edition]
        measurer = Measurer(rules, candidate, against)
        impact = Impact()
        for portion in past.assessments.portions():
            impact.take_in(measurer.measure(portion.read()))
            told(impact.assessments, round(impact.assessments / portion.share))
        measured = measured_of(past, candidate.edition, self.against)
        return {form: write(impact, measured).decode() for form, write in IMPACT_FORMS.items()}


GovernanceTask = HazardTask | CheckTask | ProofTask | BehaviourTask | ImpactTask


def key_of(task: GovernanceTask, rules: ReadyRules) -> str:
    """The SHA-256 of all that the outcome of a task depends on, this version of the service among it."""
    return hashlib.sha256(orjson.dumps([task.kind, __version__, *task.parts(rules)])).hexdigest()


def _digests(rules: ReadyRules, name: str) -> list[str]:
    """What an edition is. Status and id are not part of its digest and stand in what is said of it."""
    one: PreparedEdition = rules.editions[name]
    return [name, one.edition.status, one.edition.digest, one.guard_rails.digest]


def _digest_of(file: Path) -> str:
    try:
        return hashlib.sha256(file.read_bytes()).hexdigest()
    except OSError:
        return "absent"


def _json(record: Mapping[str, Any]) -> str:
    return orjson.dumps(record, default=float).decode()
