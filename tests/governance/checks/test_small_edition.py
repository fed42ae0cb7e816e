"""An edition written only for tests of loading breaks many checks at once; all that is found is true."""

from __future__ import annotations

import shutil
from collections import Counter
from datetime import date
from pathlib import Path

from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.checks.prover import SolverProver
from limbtier.use_cases.check_edition import EditionChecker
from limbtier.use_cases.ready_rules import ready_rules

SMALL = CHECKOUT / "tests" / "rulesets" / "small_edition"


def test_what_is_wrong_with_the_small_edition_is_found_and_nothing_else(tmp_path: Path) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(SMALL, rules)
    text = (CHECKOUT / "rules" / "checks.yaml").read_text(encoding="utf-8")
    (rules / "checks.yaml").write_text(text[: text.index("suppressions:")] + "suppressions: []\n")
    checker = EditionChecker(ready_rules(rules), rules, date(2026, 11, 26), SolverProver)
    report = checker.report("small-2026.1.0")
    assert report.failed_cases == ()
    assert report.accepted == ()
    assert Counter(item.code for item in report.diagnostics) == {
        "edge-without-case": 4,
        "nothing-to-put-on": 1,
        "outcome-without-case": 7,
        "period-without-case": 1,
        "raised-without-reading": 1,
        "rule-without-case": 4,
        "tier-without-material": 1,
        "unmeasured-not-treated": 1,
        "unused-material": 1,
        "value-without-case": 7,
    }
    for item in report.diagnostics:
        assert item.file is not None
        assert (rules / item.file).is_file()
        assert item.line is not None
