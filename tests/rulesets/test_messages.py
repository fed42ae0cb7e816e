"""What the loader says about bad rule files, word for word."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from limbtier.rulesets import codes
from limbtier.rulesets.codes import CODES
from tests.rulesets.golden import HERE, apply, copy_of_small_rules, diagnostics_of, read_case

FILES = sorted((HERE / "messages").glob("*.txt"))
SOURCES = sorted(Path(codes.__file__).parent.glob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_bad_file_is_named_with_place_and_advice(path: Path, tmp_path: Path) -> None:
    case = read_case(path)
    rules = copy_of_small_rules(tmp_path)
    apply(case, rules)
    assert diagnostics_of(rules) == case.says, case.sentence


def test_every_code_has_a_case_and_every_case_a_code() -> None:
    said = {code for path in FILES for code in re.findall(r"error\[([a-z0-9-]+)\]", read_case(path).says)}
    assert said == set(CODES) - {"too-many-findings"}  # a case of its own in test_loader.py


def test_every_code_is_given_somewhere_and_no_other_is() -> None:
    written = "\n".join(path.read_text(encoding="utf-8") for path in SOURCES if path.name != "codes.py")
    given = set(re.findall(r'(?:\.add|\.add_file|Diagnostic)\(\s*"([a-z0-9-]+)"', written))
    assert given - {"no-edition", "unknown-edition"} <= set(CODES)
    assert {code for code in CODES if f'"{code}"' not in written} == set()
