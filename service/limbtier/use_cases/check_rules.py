"""Checks rule files as `limbtier check` does: loads them strictly and runs their worked cases."""

from __future__ import annotations

from pathlib import Path
from typing import TextIO

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.ready_rules import ready_rules
from limbtier.use_cases.run_worked_cases import rules_without_case, run_worked_cases

RULES_FOLDER_MARK = "guard_rails"


def check_rules(path: Path, out: TextIO) -> int:
    """Check the rules folder, or one edition in it, and print what was found. 0 when nothing is wrong."""
    folder, wanted = _rules_folder(path)
    try:
        rules = ready_rules(folder)
    except InvalidRuleFiles as error:
        out.writelines(f"{item}\n" for item in error.diagnostics)
        out.write(f"{_counted(error.diagnostics)}. Nothing of these files is used until they are mended.\n")
        return 1
    found: list[Diagnostic] = []
    for name in rules.editions:
        if wanted is None or name == wanted:
            found += _check_edition(rules, name, out)
    out.writelines(f"{item}\n" for item in found)
    out.write(f"{_counted(found)}.\n")
    return 1 if any(item.severity == "error" for item in found) else 0


def _check_edition(rules: ReadyRules, name: str, out: TextIO) -> list[Diagnostic]:
    prepared = rules.editions[name]
    edition = prepared.edition
    results = list(run_worked_cases(prepared, rules.calendars))
    failed = sum(1 for result in results if result.problems)
    out.write(
        f"{name}: {edition.status}, {len(edition.vocabulary.inputs)} inputs, {len(edition.rules)} rules, "
        f"{len(edition.sources)} sources, {len(results)} worked cases of which {failed} differ\n"
        f"  digest {edition.digest}\n"
    )
    found = [problem for result in results for problem in result.problems]
    return found + rules_without_case(prepared, results)


def _rules_folder(path: Path) -> tuple[Path, str | None]:
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


def _counted(found: tuple[Diagnostic, ...] | list[Diagnostic]) -> str:
    errors = sum(1 for item in found if item.severity == "error")
    warnings = len(found) - errors
    return f"{errors} error{'' if errors == 1 else 's'}, {warnings} warning{'' if warnings == 1 else 's'}"
