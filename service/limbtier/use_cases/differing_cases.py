"""Cases of the base that a local edition decides otherwise, written as its rule files list them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from limbtier.domain.edition import Edition
from limbtier.use_cases.run_worked_cases import CaseResult, of_base

LONGEST_LINE = 110


def differing_cases(edition: Edition, results: Sequence[CaseResult]) -> str:
    """The cases of the base that come out differently, as entries for `replace` in a file of `cases/`; empty
    where there are none. It says what comes out and not that it is right: each entry is to be read, and its
    reason to be written."""
    entries = [
        _entry(result.case.id, result.decided)
        for result in results
        if result.decided and of_base(result.case, edition)
    ]
    if not entries:
        return ""
    return (
        "# Invented people; no real assessment.\n"
        "replace:\n"
        "  - reason: write here why these come out differently\n"
        "    decided_by: write here which role decided it\n"
        "    cases:\n"
    ) + "".join(entries)


def _entry(case_id: str, decided: Mapping[str, Any]) -> str:
    values = [f"{key}: {_flow(value)}" for key, value in decided.items()]
    line = f"      - {{id: {case_id}, expect: {{{', '.join(values)}}}}}\n"
    if len(line) <= LONGEST_LINE:
        return line
    return f"      - id: {case_id}\n        expect:\n" + "".join(f"          {value}\n" for value in values)


def _flow(value: Any) -> str:
    """A value as one line of a rule file; everything in an expectation is a plain word, a day or a list."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{name}: {_flow(entry)}" for name, entry in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_flow(entry) for entry in value) + "]"
    return str(value)
