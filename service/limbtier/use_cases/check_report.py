"""What the check of rule files came to, as text for people and as JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.use_cases.check_edition import EditionReport
from limbtier.use_cases.run_worked_cases import of_base


@dataclass(frozen=True, slots=True)
class CheckReport:
    """Everything of one run. `refused` is what loading found; then no edition was judged."""

    day: date
    strict: bool
    refused: tuple[Diagnostic, ...]
    editions: tuple[EditionReport, ...]

    @property
    def found(self) -> tuple[Diagnostic, ...]:
        """Everything that is wrong, errors first."""
        found = [*self.refused, *(item for report in self.editions for item in report.diagnostics)]
        return tuple(sorted(found, key=lambda item: item.severity != "error"))

    @property
    def passed(self) -> bool:
        """Whether nothing is wrong that fails the check: no error, and with `strict` no warning either."""
        return not any(self.strict or item.severity == "error" for item in self.found)


def findings_text(report: CheckReport) -> Iterator[str]:
    """What is wrong, errors first, and how much of it, in lines for people."""
    for severity, heading in (("error", "Errors"), ("warning", "Warnings")):
        found = [item for item in report.found if item.severity == severity]
        if found:
            yield f"{heading}:"
            yield from (str(item) for item in found)
    refused = " Nothing of these files is used until they are mended." if report.refused else ""
    yield f"{counted(report.found)}.{refused}"


def edition_text(report: EditionReport) -> Iterator[str]:
    """The head of an edition: what it is, and how it was judged."""
    edition, judgement = report.edition, report.judgement
    failed = sum(1 for result in report.cases if result.problems)
    yield (
        f"{edition.id}: {edition.status}, {len(edition.vocabulary.inputs)} inputs, "
        f"{len(edition.rules)} rules, {len(edition.sources)} sources, "
        f"{len(report.cases)} worked cases of which {failed} differ"
    )
    yield f"  digest {edition.digest}"
    if edition.based_on is not None:
        kept = sum(1 for result in report.cases if of_base(result.case, edition))
        yield f"  based on {edition.based_on}, {kept} of the cases taken over from it"
    words = f"  {judgement.checks_run} checks: {counted(report.diagnostics)}"
    if judgement.accepted:
        words += f", {len(judgement.accepted)} accepted in checks.yaml"
    if judgement.of_base:
        words += f", {judgement.of_base} of its base not repeated"
    yield words


def report_json(report: CheckReport) -> dict[str, Any]:
    """The report as plain data: whether it passed, what loading refused, each edition with its findings."""
    return {
        "day": report.day.isoformat(),
        "strict": report.strict,
        "passed": report.passed,
        "refused": [_diagnostic(item) for item in report.refused],
        "editions": [edition_json(edition) for edition in report.editions],
    }


def edition_json(report: EditionReport) -> dict[str, Any]:
    """One edition with everything that was found about it."""
    edition, judgement = report.edition, report.judgement
    return {
        "edition": edition.id,
        "status": edition.status,
        "digest": edition.digest,
        "based_on": edition.based_on,
        "worked_cases": len(report.cases),
        "failed_cases": [_diagnostic(item) for item in report.failed_cases],
        "checks_run": judgement.checks_run,
        "findings_of_base": judgement.of_base,
        "findings": [
            {"part": one.finding.part, "name": one.finding.name, **_diagnostic(one.diagnostic())}
            for one in judgement.found
        ],
        "accepted": [
            {
                "part": one.finding.part,
                "name": one.finding.name,
                **_diagnostic(one.diagnostic()),
                "reason": one.accepted.reason,
                "decided_by": one.accepted.decided_by,
                "until": one.accepted.until.isoformat(),
            }
            for one in judgement.accepted
            if one.accepted is not None
        ],
    }


def _diagnostic(item: Diagnostic) -> dict[str, Any]:
    return {
        "code": item.code,
        "severity": item.severity,
        "message": item.message,
        "help": item.help,
        "file": item.file,
        "line": item.line,
        "column": item.column,
    }


def counted(found: Sequence[Diagnostic]) -> str:
    """How many errors and warnings there are, in words."""
    errors = sum(1 for item in found if item.severity == "error")
    warnings = len(found) - errors
    return f"{errors} error{'' if errors == 1 else 's'}, {warnings} warning{'' if warnings == 1 else 's'}"
