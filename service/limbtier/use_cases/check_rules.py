"""Checks rule files as `limbtier check` does: loads them strictly, runs their worked cases, judges them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TextIO

from limbtier.domain.assessment import day_of
from limbtier.foundation.clock import now
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.rulesets.read_code_map import load_code_map
from limbtier.use_cases.check_edition import EditionChecker, ProverFor
from limbtier.use_cases.check_report import CheckReport, edition_text, findings_text, report_json
from limbtier.use_cases.differing_cases import differing_cases
from limbtier.use_cases.ready_rules import ready_rules

RULES_FOLDER_MARK = "guard_rails"


@dataclass(frozen=True, slots=True)
class CheckOptions:
    """How to check. `day` is the day by which dates are judged, today if None. Without `prover_for` the
    checks that need the prover are left out. `strict` lets a warning fail the check; `list_differing` also
    prints the cases of a base that come out differently, as rule files list them."""

    day: date | None = None
    prover_for: ProverFor | None = None
    strict: bool = False
    as_json: bool = False
    list_differing: bool = False


def check_rules(path: Path, out: TextIO, options: CheckOptions) -> int:
    """Check the rules folder, or one edition in it, and print what was found. 0 when nothing fails it."""
    report = _report(path, options)
    if options.as_json:
        json.dump(report_json(report), out, indent=2, ensure_ascii=False)
        out.write("\n")
    else:
        for edition in report.editions:
            out.writelines(f"{line}\n" for line in edition_text(edition))
            if options.list_differing:
                out.write(differing_cases(edition.edition, edition.cases))
        out.writelines(f"{line}\n" for line in findings_text(report))
    return 0 if report.passed else 1


def _report(path: Path, options: CheckOptions) -> CheckReport:
    folder, wanted = rules_folder(path)
    day = options.day if options.day is not None else day_of(now())
    try:
        rules = ready_rules(folder)
        load_code_map(folder, [one.edition.vocabulary for one in rules.editions.values()])
        checker = EditionChecker(rules, folder, day, options.prover_for)
    except InvalidRuleFiles as error:
        return CheckReport(day, options.strict, error.diagnostics, ())
    reports = [checker.report(name) for name in rules.editions if wanted is None or name == wanted]
    return CheckReport(day, options.strict, (), tuple(reports))


def rules_folder(path: Path) -> tuple[Path, str | None]:
    """The rules folder a path lies in, and the id of the edition it names, if it names one."""
    path = path.resolve()
    if not path.is_dir():
        advice = "Name the rules folder, or the folder of one edition such as rules/core/2026.1.0."
        raise InvalidRuleFiles([Diagnostic("no-rules-here", f"`{path.name}` is no folder.", advice)])
    for folder in (path, *path.parents[:2]):
        if (folder / RULES_FOLDER_MARK).is_dir():
            steps = path.relative_to(folder).parts
            return folder, "-".join(steps) if len(steps) == 2 else None
    advice = "Name the rules folder, which holds `guard_rails`, or the folder of one edition in it."
    raise InvalidRuleFiles([Diagnostic("no-rules-here", f"`{path.name}` holds no rule files.", advice)])
