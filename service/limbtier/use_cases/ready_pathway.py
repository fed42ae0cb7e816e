"""Makes the pathway of a rules folder ready: what holds between the contacts of an episode."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from limbtier.domain.caseload import CaseloadTerms
from limbtier.domain.edition import Edition
from limbtier.engine.attention import Attention
from limbtier.engine.watch import Watch
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.rulesets.read_caseload import load_caseload_terms
from limbtier.rulesets.read_pathway import load_pathways


def ready_watch(folder: Path, editions: Iterable[Edition]) -> Watch:
    """The newest pathway of a rules folder, its names checked against every edition, with its watch rules
    made ready. Raises InvalidRuleFiles."""
    pathways = load_pathways(folder, editions)
    if not pathways:
        advice = "Add a file such as `pathway/2026.1.0.yaml`."
        raise InvalidRuleFiles(
            [
                Diagnostic(
                    "missing-file", "The rules folder holds no pathway for episodes.", advice, file="pathway"
                )
            ]
        )
    return Watch(pathways[-1])


def ready_attention(folder: Path, watch: Watch) -> tuple[Attention, CaseloadTerms]:
    """What puts episodes on the due list, and what the picture of a caseload counts. Raises
    InvalidRuleFiles."""
    due, counted = load_caseload_terms(folder, watch.pathway)
    return Attention(watch, due), counted
