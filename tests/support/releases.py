"""Drafts in tests: the steps over a log, with the prover left out where it is not what is tested."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import orjson

from limbtier.audit.log import Log
from limbtier.domain.caller import APPROVE, EDIT, READ, Caller
from limbtier.domain.draft import Draft
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.clock import Clock
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.scaffold import scaffold
from limbtier.store.drafts import DraftTable, EditionTable
from limbtier.use_cases.check_edition import EditionChecker, EditionReport
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.release_edition import Releases
from limbtier.use_cases.release_files import Files
from limbtier.use_cases.release_judgement import statement_record
from limbtier.use_cases.release_rules import ReleasedRules

RULES = CHECKOUT / "rules"
CORE, SET = "core-2026.1.0", "larchmere"
TODAY = date(2026, 11, 25)
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
SCOPES = frozenset({EDIT, APPROVE, READ})
EDITOR = Caller("key:editor", "quillerbeck", SCOPES)
APPROVER = Caller("key:approver", "quillerbeck", SCOPES)
STRANGER = Caller("key:stranger", "another", SCOPES)


class QuickReleases(Releases):
    """The steps without the solver: checks that need it are left out, and `unproved` are the verdicts of
    statements that are not proved, by id."""

    unproved: Mapping[str, str] = {}

    def _report(self, prepared: PreparedEdition, rules: ReadyRules, files: Files, day: date) -> EditionReport:
        checker = EditionChecker(rules, self.released.folder, day, None)
        return checker.report(prepared.edition.id)

    def _proofs(self, prepared: PreparedEdition, rules: ReadyRules) -> dict[str, Any]:
        verdicts = {"always": "proved", **self.unproved}
        records = [{"id": name, "statement": name, "verdict": one} for name, one in verdicts.items()]
        return {
            "passed": not self.unproved,
            "proved": len(verdicts) - len(self.unproved),
            "statements": [statement_record(one) for one in records],
        }


def steps_over(
    log: Log, rules: ReadyRules, clock: Clock = lambda: NOON, folder: Path | None = None
) -> QuickReleases:
    """The steps of one process over a log."""
    database = log.store.database
    editions = EditionTable(database)
    released = ReleasedRules(Decider(rules), editions, log.store, folder or RULES)
    return QuickReleases(DraftTable(database), released, log.store, log.append, clock)


def local_files(
    rules: ReadyRules, version: str = "2026.1.0", first: date = TODAY, base: str = CORE
) -> dict[str, str]:
    """The files of a local edition that changes nothing."""
    return dict(scaffold(rules.editions[base].edition, SET, version, first))


def proved(steps: Releases, files: Files, version: str = "2026.1.0", caller: Caller = EDITOR) -> Draft:
    """A draft that was saved, checked and proved."""
    edition = f"{SET}-{version}"
    steps.save(caller, edition, files, None)
    steps.check(caller, edition)
    return steps.prove(caller, edition)


def approved(steps: Releases, files: Files, version: str = "2026.1.0") -> Draft:
    """A draft that is approved, too."""
    draft = proved(steps, files, version)
    return steps.approve(APPROVER, draft.edition, draft.etag)


def released(steps: Releases, files: Files, version: str = "2026.1.0") -> Draft:
    """A draft that is released, too."""
    draft = approved(steps, files, version)
    return steps.release(APPROVER, draft.edition, draft.etag)


def records(log: Log) -> list[dict[str, Any]]:
    """Every entry of a log."""
    return [orjson.loads(one.data) for one in log.store.entries_from(0, log.size)]
