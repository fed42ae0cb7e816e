"""Checks and proves drafts by the same checks and proofs as the command line does folders."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import Any, Final

import orjson

from limbtier.domain.assessment import day_of
from limbtier.domain.caller import Caller
from limbtier.domain.draft import Draft
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidRuleFiles, UnsupportedConstruct
from limbtier.governance.proofs.turns import SOLVER
from limbtier.rulesets.repository import AddedEdition
from limbtier.use_cases.check_edition import EditionChecker, EditionReport
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.release_drafts import Drafts, files_in_folder
from limbtier.use_cases.release_errors import StepRefused, refusal
from limbtier.use_cases.release_files import Files, bytes_of
from limbtier.use_cases.release_rules import prepared_editions

MOST_FINDINGS: Final = 500


class Judges(Drafts):
    """The steps that say what a draft is. They compute for seconds: never on the event loop, and one at a
    time."""

    def check(self, caller: Caller, edition: str) -> Draft:
        """Check a draft: everything that loading finds, or its worked cases and every check. Without an error
        it is checked; whatever was proved and approved before is void."""
        self._require_governing(caller)
        draft, files = self.find(caller, edition)
        self.released.follow()
        require_open(draft)
        day = day_of(self._moment())
        judged = None
        try:
            prepared, rules = self.loaded(draft, files)
            report = self._report(prepared, rules, files, day)
            judged = judged_as(prepared)
            found = list(report.diagnostics)
        except InvalidRuleFiles as error:
            report, found = None, list(error.diagnostics)
        outcome = check_record(report, found, day)
        after = replace(
            draft,
            state="checked" if outcome["passed"] else "draft",
            judged=judged,
            approver=None,
            check=orjson.dumps(outcome),
            proof=None,
        )
        return self._take("edition_checked", caller, draft, after, files, None)

    def prove(self, caller: Caller, edition: str) -> Draft:
        """Prove a draft that is checked. When all statements are proved it is proved; an approval is void."""
        self._require_governing(caller)
        draft, files = self.find(caller, edition)
        self.released.follow()
        require_open(draft)
        if draft.state == "draft":
            raise StepRefused(unchecked(draft))
        prepared, rules = self.loaded_as_judged(draft, files)
        outcome = self._proofs(prepared, rules)
        after = replace(
            draft,
            state="proved" if outcome["passed"] else "checked",
            approver=None,
            proof=orjson.dumps(outcome, default=float),
        )
        return self._take("edition_proved", caller, draft, after, files, None)

    def loaded(self, draft: Draft, files: Files) -> tuple[PreparedEdition, ReadyRules]:
        """The draft made ready to decide, and the rules with it. Raises InvalidRuleFiles."""
        rules = self.released.decider.rules
        added = {draft.edition: AddedEdition(bytes_of(files))}
        [prepared] = prepared_editions(self.released.folder, added, rules)
        together = [*rules.editions.values(), prepared]  # the last of an id is the one that counts
        return prepared, ReadyRules.of(together, rules.calendars, rules.rule_set)

    def loaded_as_judged(self, draft: Draft, files: Files) -> tuple[PreparedEdition, ReadyRules]:
        """The same, of a draft that was checked. Raises StepRefused when it has become another edition since:
        its base or its guard rails changed."""
        try:
            prepared, rules = self.loaded(draft, files)
        except InvalidRuleFiles:
            prepared, rules = None, None
        if prepared is None or rules is None or judged_as(prepared) != draft.judged:
            message = "What the draft is based on, or its guard rails, changed since it was checked."
            raise refusal("base-changed", message, "Check and prove it again.")
        return prepared, rules

    def _report(self, prepared: PreparedEdition, rules: ReadyRules, files: Files, day: date) -> EditionReport:
        from limbtier.governance.checks.prover import SolverProver  # noqa: PLC0415 - the solver is large

        added = files_in_folder(files, prepared.edition.id)
        base = prepared.edition.based_on
        while base is not None:
            kept = self.released.editions.with_files(base)
            if kept is not None and kept.files is not None:
                added.update(files_in_folder(kept.files, base))
            base = rules.editions[base].edition.based_on
        with SOLVER:
            checker = EditionChecker(rules, self.released.folder, day, SolverProver, added)
            return checker.report(prepared.edition.id)

    def _proofs(self, prepared: PreparedEdition, rules: ReadyRules) -> dict[str, Any]:
        from limbtier.governance.proofs.prove import prove_edition  # noqa: PLC0415 - the solver is large
        from limbtier.use_cases.prove_edition import verdict_record  # noqa: PLC0415

        try:
            with SOLVER:
                verdicts = [verdict_record(one) for one in prove_edition(prepared, rules.calendars)]
        except UnsupportedConstruct as error:
            found = [Diagnostic("unsupported-by-prover", one.message, one.help) for one in error.diagnostics]
            raise StepRefused(found) from None
        proved = sum(1 for one in verdicts if one["verdict"] == "proved")
        return {
            "passed": proved == len(verdicts),
            "proved": proved,
            "statements": [statement_record(one) for one in verdicts],
        }


def judged_as(prepared: PreparedEdition) -> tuple[str, str]:
    """What was judged: the digests of the edition with its base, and of its guard rails."""
    return prepared.edition.digest, prepared.guard_rails.digest


def require_open(draft: Draft) -> None:
    """Raises StepRefused for a draft that is released: nothing about it changes any more."""
    if draft.state in ("released", "retired"):
        message = f"`{draft.edition}` is {draft.state} already."
        raise refusal("edition-exists", message, "Copy it to a new version, and go on with that.")


def unchecked(draft: Draft) -> list[Diagnostic]:
    """Why a draft is not checked."""
    if draft.check is None:
        advice = "Check it first."
        return [Diagnostic("not-checked", "The draft was not checked since it was saved.", advice)]
    errors = orjson.loads(draft.check)["errors"]
    message = f"The check found {errors} error{'' if errors == 1 else 's'}."
    return [Diagnostic("check-has-errors", message, "Mend what the check names, save, and check again.")]


def unproved(draft: Draft) -> list[Diagnostic]:
    """Why a draft that is checked is not proved, statement by statement."""
    if draft.proof is None:
        return [Diagnostic("not-proved", "The draft was not proved since it was checked.", "Prove it first.")]
    advice = {
        "counterexample": "Read the assessment that breaks it under `proof`, and mend the rules.",
        "inconclusive": "Its reason stands under `proof`; prove again when the machine is less busy.",
    }
    return [
        Diagnostic(
            "not-proved", f"{one['id']}: {one['statement']} ({one['verdict']})", advice[one["verdict"]]
        )
        for one in orjson.loads(draft.proof)["statements"]
        if one["verdict"] != "proved"
    ]


def check_record(report: EditionReport | None, found: Iterable[Diagnostic], day: date) -> dict[str, Any]:
    """What a check came to: how much is wrong, and each finding with its place, errors first."""
    findings = sorted(found, key=lambda item: item.severity != "error")
    errors = sum(1 for item in findings if item.severity == "error")
    return {
        "day": day.isoformat(),
        "passed": errors == 0,
        "errors": errors,
        "warnings": len(findings) - errors,
        "worked_cases": 0 if report is None else len(report.cases),
        "checks_run": 0 if report is None else report.judgement.checks_run,
        "findings": [
            {
                "code": item.code,
                "severity": item.severity,
                "message": item.message,
                "help": item.help,
                "file": item.file,
                "line": item.line,
                "column": item.column,
            }
            for item in findings[:MOST_FINDINGS]
        ],
    }


def statement_record(verdict: dict[str, Any]) -> dict[str, Any]:
    """One statement with its verdict; where it does not hold, the assessment that breaks it in words and as a
    worked case."""
    return {
        name: verdict.get(name)
        for name in (
            "id",
            "family",
            "statement",
            "verdict",
            "seconds",
            "note",
            "reason",
            "answers",
            "engine_says",
            "worked_case",
        )
    }
