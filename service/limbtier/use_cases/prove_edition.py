"""Proves editions as `limbtier prove` does: a line for each statement once settled, then what was found."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TextIO

import orjson

from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.diagnostics import Diagnostic, did_you_mean
from limbtier.foundation.errors import NotFound
from limbtier.governance.proofs.prove import prove_edition, prove_rule
from limbtier.governance.proofs.session import MILLISECONDS
from limbtier.governance.proofs.verdict import Counterexample, Inconclusive, Proved, Verdict
from limbtier.use_cases.check_rules import rules_folder
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.ready_rules import ready_rules

ALL_PROVED, BROKEN, NOT_SETTLED = 0, 1, 3
_WORDS: Final = {Proved: "proved", Counterexample: "BROKEN", Inconclusive: "not settled"}


@dataclass(frozen=True, slots=True)
class ProveOptions:
    """What to prove: everything, or what one `rule` can break. `cases` is a folder for worked cases;
    `milliseconds` bound one question to the solver."""

    rule: str | None = None
    cases: Path | None = None
    as_json: bool = False
    milliseconds: int = MILLISECONDS


def prove_editions(path: Path, out: TextIO, options: ProveOptions) -> int:
    """Prove the editions of the rules folder, or the one whose folder is named, and print what was found.

    0 when all is proved, 1 when an assessment breaks something, 3 when nothing is broken but something could
    not be settled. Raises InvalidRuleFiles, UnsupportedConstruct, or NotFound for an unknown rule.
    """
    folder, wanted = rules_folder(path)
    rules = ready_rules(folder)
    found: list[Verdict] = []
    for name, prepared in rules.editions.items():
        if wanted is None or name == wanted:
            found += _prove(rules, prepared, out, options)
    if any(isinstance(one, Counterexample) for one in found):
        return BROKEN
    return NOT_SETTLED if any(isinstance(one, Inconclusive) for one in found) else ALL_PROVED


def _prove(rules: ReadyRules, prepared: PreparedEdition, out: TextIO, options: ProveOptions) -> list[Verdict]:
    edition = prepared.edition

    def tell(verdict: Verdict) -> None:
        if not options.as_json:
            line = f"  {_WORDS[type(verdict)]:<12} {verdict.statement.id:<46} {verdict.seconds:6.2f} s\n"
            out.write(line)
            out.flush()

    if not options.as_json:
        out.write(f"{edition.id}, guard rails {prepared.guard_rails.version}\n")
    if options.rule is None:
        found = prove_edition(prepared, rules.calendars, tell, options.milliseconds)
    else:
        _refuse_unknown(prepared, options.rule)
        found = prove_rule(prepared, rules.calendars, options.rule, tell, options.milliseconds)
    if options.as_json:
        record = {"edition": edition.id, "verdicts": [verdict_record(one) for one in found]}
        out.write(orjson.dumps(record, default=float, option=orjson.OPT_INDENT_2).decode() + "\n")
    else:
        out.writelines(f"{line}\n" for line in _in_words(found))
    if options.cases is not None:
        _write_cases(found, options.cases, edition.id)
    return found


def _refuse_unknown(prepared: PreparedEdition, rule_id: str) -> None:
    known = [rule.id for rule in prepared.edition.rules]
    if rule_id not in known:
        shown = rule_id[:60] if rule_id.isprintable() else "?"
        advice = did_you_mean(shown, known, "`limbtier render` shows every rule with its id.")
        message = f"{prepared.edition.id} has no rule `{shown}`."
        raise NotFound([Diagnostic("unknown-rule", message, advice)])


def _in_words(found: list[Verdict]) -> list[str]:
    lines: list[str] = []
    for verdict in found:
        match verdict:
            case Counterexample():
                lines += ["", f"BROKEN {verdict.statement.id}: {verdict.statement.sentence}"]
                lines += ["  An assessment that breaks it (all that is not said was not answered):"]
                lines += [f"    {line}" for line in verdict.words]
                lines += ["  The engine says:", *(f"    {line}" for line in verdict.says)]
            case Inconclusive():
                lines += ["", f"NOT SETTLED {verdict.statement.id}: {verdict.statement.sentence}"]
                lines += [f"  {verdict.reason}"]
    proved = sum(1 for one in found if isinstance(one, Proved))
    seconds = sum(one.seconds for one in found)
    return [*lines, f"{proved} of {len(found)} statements proved for every assessment, in {seconds:.1f} s."]


def _write_cases(found: list[Verdict], folder: Path, edition: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for verdict in found:
        if isinstance(verdict, Counterexample):
            name = verdict.statement.id.replace("@", "_")
            (folder / f"{edition}_{name}.yaml").write_text(verdict.worked_case, encoding="utf-8")


def verdict_record(verdict: Verdict) -> dict[str, Any]:
    """A verdict as plain data for JSON; decimals are to be written as numbers."""
    statement = verdict.statement
    record: dict[str, Any] = {
        "id": statement.id,
        "family": statement.family,
        "statement": statement.sentence,
        "verdict": {Proved: "proved", Counterexample: "counterexample", Inconclusive: "inconclusive"}[
            type(verdict)
        ],
        "seconds": round(verdict.seconds, 3),
    }
    match verdict:
        case Proved(note=note):
            record["note"] = note or None
        case Inconclusive(reason=reason):
            record["reason"] = reason
        case Counterexample():
            record |= {
                "request": verdict.request,
                "request_after": verdict.after,
                "answers": verdict.words,
                "engine_says": verdict.says,
                "worked_case": verdict.worked_case,
            }
    return record
