"""What a check is, and what it finds."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from limbtier.domain.edition import Edition, WorkedCase
from limbtier.domain.rule import Rule
from limbtier.foundation.diagnostics import Severity
from limbtier.rulesets.read_checks import FoundPart

if TYPE_CHECKING:
    from limbtier.governance.checks.context import Context


@dataclass(frozen=True, slots=True)
class Finding:
    """What one check found: about which part of an edition, what is wrong and what to do instead.

    `file` and `line` say where it stands; where a check leaves them out, they are looked up by part and name.
    """

    part: FoundPart
    name: str
    message: str
    help: str
    file: str | None = None
    line: int | None = None

    def at(self, file: str, line: int) -> Finding:
        """The same, with its place."""
        return replace(self, file=file, line=line)


@dataclass(frozen=True, slots=True)
class Explanation:
    """For the governance team: what the check finds, why it matters, how to mend it, and an example."""

    finds: str
    why: str
    mend: str
    example: str


@dataclass(frozen=True, slots=True)
class Check:
    """One check. `find` names everything wrong, and nothing that is right; `needs_prover` for one that asks
    about every assessment, `judges_suppressions` for one that reads what became of the suppressions."""

    id: str
    title: str
    explanation: Explanation
    severity: Severity
    find: Callable[[Edition, Context], Iterable[Finding]]
    needs_prover: bool = False
    judges_suppressions: bool = False


def about_rule(rule: Rule, message: str, advice: str) -> Finding:
    """A finding about a rule, with its place."""
    return Finding("rule", rule.id, message, advice, rule.file, rule.line)


def about_case(case: WorkedCase, message: str, advice: str) -> Finding:
    """A finding about a worked case, with its place."""
    return Finding("case", case.id, message, advice, case.file, case.line)
