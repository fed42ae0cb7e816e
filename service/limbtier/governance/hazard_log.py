"""The hazard log beside an edition: whether what it points at exists, and the log as data for reading."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from limbtier.domain.edition import Edition
from limbtier.domain.hazard import Hazard, HazardLog, Level, Reference, ReferenceKind, Risk
from limbtier.domain.rule import GuardRails
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean

KINDS: Final[Mapping[ReferenceKind, str]] = {
    "guard_rail": "guard rail",
    "proof": "proof",
    "check": "check",
    "test": "test",
}


@dataclass(frozen=True, slots=True)
class Evidence:
    """What exists for controls to point at, by kind. None where it cannot be looked at, as with the tests on
    a machine that has only the installed service; references of that kind are then left unlooked at."""

    guard_rails: frozenset[str]
    proofs: frozenset[str] | None
    checks: frozenset[str]
    tests: frozenset[str] | None

    def of(self, kind: ReferenceKind) -> frozenset[str] | None:
        """What exists of one kind."""
        match kind:
            case "guard_rail":
                return self.guard_rails
            case "proof":
                return self.proofs
            case "check":
                return self.checks
            case "test":
                return self.tests


def references(log: HazardLog) -> Iterator[tuple[Hazard, Reference]]:
    """Everything that the controls of the log point at, in its order."""
    for hazard in log.hazards:
        for control in hazard.controls:
            for reference in control.shown_by:
                yield hazard, reference


def unknown_references(log: HazardLog, evidence: Evidence) -> list[Diagnostic]:
    """A diagnostic for everything that controls point at and that does not exist."""
    found: list[Diagnostic] = []
    for hazard, reference in references(log):
        known = evidence.of(reference.kind)
        if known is None or reference.name in known:
            continue
        message = f"A control of `{hazard.id}` points at the {KINDS[reference.kind]} `{reference.name}`, "
        found.append(
            Diagnostic(
                "unknown-name",
                message + "which does not exist.",
                did_you_mean(reference.name, known, "Name one that exists, or take the control out."),
                file=log.file,
                line=reference.line,
                column=reference.column,
            )
        )
    return found


def names_of_tests(folder: Path) -> frozenset[str] | None:
    """Every test of a folder `tests` as `tests/file.py::name`; None where there is no such folder."""
    if not folder.is_dir():
        return None
    return frozenset(
        f"tests/{file.relative_to(folder).as_posix()}::{node.name}"
        for file in folder.rglob("test_*.py")
        for node in ast.parse(file.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.name.startswith("test_")
    )


def hazard_log_record(log: HazardLog, edition: Edition, guard_rails: GuardRails) -> dict[str, Any]:
    """The log with the edition it was looked at with, as JSON-able data."""
    return {
        "title": log.title,
        "version": log.version,
        "statement": log.statement,
        "sign_off": log.sign_off,
        "reviewed_on": log.reviewed_on.isoformat(),
        "edition": {"id": edition.id, "digest": edition.digest, "status": edition.status},
        "guard_rails": {"version": guard_rails.version, "digest": guard_rails.digest},
        "scales_source": log.scales_source,
        "severities": [_level(one) for one in log.severities],
        "likelihoods": [_level(one) for one in log.likelihoods],
        "matrix": [
            {
                "likelihood": likelihood.name,
                "ratings": [log.ratings[likelihood.name, one.name] for one in log.severities],
            }
            for likelihood in log.likelihoods
        ],
        "acceptability": {str(rating): meaning for rating, meaning in sorted(log.acceptability.items())},
        "hazards": [
            {
                "id": hazard.id,
                "hazard": hazard.hazard,
                "causes": hazard.causes,
                "effect": hazard.effect,
                "initial": _risk(log, hazard.initial),
                "controls": [
                    {
                        "text": control.text,
                        "shown_by": [{one.kind: one.name} for one in control.shown_by],
                    }
                    for control in hazard.controls
                ],
                "residual": _risk(log, hazard.residual),
                "left_to_deployer": hazard.left_to_deployer,
                "status": hazard.status,
            }
            for hazard in log.hazards
        ],
    }


def _level(level: Level) -> dict[str, str]:
    return {"name": level.name, "title": level.title, "meaning": level.meaning}


def _risk(log: HazardLog, risk: Risk) -> dict[str, Any]:
    return {"severity": risk.severity, "likelihood": risk.likelihood, "rating": log.rating(risk)}
