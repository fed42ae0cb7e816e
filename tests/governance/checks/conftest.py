"""The core edition, and everything around it that checks look at."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from typing import Any

import pytest

from limbtier.domain.edition import Edition
from limbtier.engine.matcher import MatcherPool
from limbtier.engine.prepared import PreparedEdition, prepare
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.checks.check import Check
from limbtier.governance.checks.context import Context
from limbtier.governance.checks.prover import SolverProver
from limbtier.use_cases.check_edition import EditionChecker
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.run_worked_cases import run_worked_cases
from tests.governance.checks.editing import Found, found

DAY = date(2026, 11, 26)


@dataclass(frozen=True)
class Bench:
    """Runs checks on changed editions, and says what they find beside what they find in the core edition."""

    rules: ReadyRules
    prepared: PreparedEdition
    context: Context
    of_core: dict[str, set[Found]] = field(default_factory=dict)

    @property
    def core(self) -> Edition:
        """The core edition."""
        return self.prepared.edition

    def new(self, check: Check, edition: Edition, **context: Any) -> list[tuple[str, str]]:
        """Part and name of what is found only in the changed edition, in order."""
        return [(part, name) for part, name, _ in self.said(check, edition, **context)]

    def said(self, check: Check, edition: Edition, **context: Any) -> list[tuple[str, str, str]]:
        """The same with the messages."""
        if check.id not in self.of_core:
            self.of_core[check.id] = found(check, self.core, self.context)
        return sorted(found(check, edition, replace(self.context, **context)) - self.of_core[check.id])

    def proved(self, check: Check, edition: Edition) -> list[tuple[str, str]]:
        """As `new`, for a check that asks the prover about the changed edition."""
        prepared = prepare(edition, self.prepared.guard_rails, MatcherPool)
        return self.new(check, edition, prover_for=partial(SolverProver, prepared, self.rules.calendars))


@pytest.fixture(scope="session")
def bench(rules: ReadyRules, core: PreparedEdition) -> Bench:
    """Return the core edition with what surrounds it, judged on a fixed day."""
    checker = EditionChecker(rules, CHECKOUT / "rules", DAY, SolverProver)
    context = checker.context_of(core, list(run_worked_cases(core, rules.calendars)))
    return Bench(rules, core, context)
