"""Judges one edition by the checks: what they find, how severe it is, and what was accepted."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from limbtier.domain.edition import Edition
from limbtier.foundation.diagnostics import Diagnostic, Severity
from limbtier.governance.checks.check import Check, Finding
from limbtier.governance.checks.context import Context, of_this_edition
from limbtier.governance.checks.places import Places
from limbtier.governance.checks.registry import CHECKS
from limbtier.rulesets.read_checks import FoundPart, Suppression, severity_of

# What makes a finding the same one in an edition and in its base.
Key = tuple[str, FoundPart, str, str]


@dataclass(frozen=True, slots=True)
class Judged:
    """One finding of a check, with what it counts as here; `accepted` is the suppression that it met."""

    check: str
    severity: Severity
    finding: Finding
    accepted: Suppression | None = None

    @property
    def key(self) -> Key:
        """What makes it the same finding in another edition."""
        return self.check, self.finding.part, self.finding.name, self.finding.message

    def diagnostic(self) -> Diagnostic:
        """The finding as everything else that is found in rule files."""
        return Diagnostic(
            self.check,
            self.finding.message,
            f"{self.finding.help} (`limbtier check --explain {self.check}`)",
            file=self.finding.file,
            line=self.finding.line,
            severity=self.severity,
        )


@dataclass(frozen=True, slots=True)
class Judgement:
    """All findings about one edition: those that stand, those that were accepted, and how many of its base
    are not repeated. `keys` are those of all of them, for an edition that is based on this one."""

    found: tuple[Judged, ...]
    accepted: tuple[Judged, ...]
    of_base: int
    checks_run: int
    keys: frozenset[Key]


def judge(
    edition: Edition, context: Context, places: Places, base: Collection[Key] = frozenset()
) -> Judgement:
    """Run every check that is not off. `base` are the keys of everything found in the edition below; what is
    found there too is not repeated. Checks that need the prover run only where the context has one."""
    to_run = [check for check in CHECKS.values() if _runs(check, context)]
    raw = [
        Judged(check.id, severity, finding)
        for check in to_run
        if (severity := _severity(check, context)) is not None
        for finding in check.find(edition, context)
    ]
    fresh = [one for one in raw if one.key not in base]
    suppressions = of_this_edition(edition, context)
    standing, accepted = _apart(fresh, suppressions, context)
    standing += _about_suppressions(edition, context, suppressions, fresh, to_run)
    return Judgement(
        _in_order(standing, places),
        _in_order(accepted, places),
        len(raw) - len(fresh),
        len(to_run),
        frozenset(one.key for one in raw),
    )


def _runs(check: Check, context: Context) -> bool:
    return not (
        check.judges_suppressions
        or _severity(check, context) is None
        or (check.needs_prover and context.prover_for is None)
    )


def _severity(check: Check, context: Context) -> Severity | None:
    """What a finding counts as; None where the check is off."""
    severity = severity_of(context.settings, check.id, check.severity)
    return None if severity == "off" else severity


def _apart(
    found: Iterable[Judged], suppressions: Sequence[Suppression], context: Context
) -> tuple[list[Judged], list[Judged]]:
    """The findings that stand, and those that were accepted for a time that has not passed."""
    standing: list[Judged] = []
    accepted: list[Judged] = []
    for one in found:
        suppression = next((each for each in suppressions if _meets(each, one)), None)
        if suppression is not None and suppression.until >= context.day:
            accepted.append(replace(one, accepted=suppression))
        else:
            standing.append(one)
    return standing, accepted


def _meets(suppression: Suppression, one: Judged) -> bool:
    wanted = suppression.check, suppression.part, suppression.name
    return wanted == (one.check, one.finding.part, one.finding.name)


def _about_suppressions(
    edition: Edition,
    context: Context,
    suppressions: Sequence[Suppression],
    found: Sequence[Judged],
    run: Iterable[Check],
) -> list[Judged]:
    """What the checks of the suppressions say, about those of which the check was run."""
    ids = {check.id for check in run}
    met = tuple((each, any(_meets(each, one) for one in found)) for each in suppressions if each.check in ids)
    seen = replace(context, suppressions=met)
    return [
        Judged(check.id, severity, finding)
        for check in CHECKS.values()
        if check.judges_suppressions and (severity := _severity(check, context)) is not None
        for finding in check.find(edition, seen)
    ]


def _in_order(found: Iterable[Judged], places: Places) -> tuple[Judged, ...]:
    """Errors first, then by file and line; findings without a place are given theirs."""
    placed = [one if one.finding.file else _placed(one, places) for one in found]
    return tuple(
        sorted(
            placed,
            key=lambda one: (
                one.severity != "error",
                one.finding.file or "",
                one.finding.line or 0,
                one.check,
                one.finding.message,
            ),
        )
    )


def _placed(one: Judged, places: Places) -> Judged:
    file, line = places.find(one.finding.part, one.finding.name)
    return replace(one, finding=replace(one.finding, file=file, line=line))
