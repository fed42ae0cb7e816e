"""Explains the checks of rule files: one at a time, or all of them as a page."""

from __future__ import annotations

from pathlib import Path

from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import NotFound
from limbtier.governance.checks.reference import checks_page, explanation
from limbtier.governance.checks.registry import CHECKS


def explain_check(check_id: str) -> str:
    """What a check finds, why it matters, how to mend it and an example. Raises NotFound."""
    if check_id not in CHECKS:
        shown = check_id[:60] if check_id.isprintable() else "?"
        advice = did_you_mean(shown, CHECKS, "All checks are listed in rules/CHECKS.md.")
        raise NotFound([Diagnostic("unknown-check", f"There is no check `{shown}`.", advice)])
    return explanation(check_id)


def write_checks_page(file: Path) -> None:
    """Write the page on all checks."""
    file.write_text(checks_page(), encoding="utf-8", newline="\n")
