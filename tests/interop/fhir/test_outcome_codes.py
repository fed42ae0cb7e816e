"""Every fault that the FHIR adapter can name has a kind of issue of its own."""

from __future__ import annotations

import ast

from limbtier.interop.fhir.outcome import BY_FINDING
from tests.interop.fhir.conftest import CHECKOUT

ADAPTER = CHECKOUT / "service" / "limbtier" / "interop" / "fhir"


def test_every_fault_has_a_kind_of_issue() -> None:
    given: set[str] = set()
    for file in ADAPTER.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func).lower().endswith("faults.add"):
                first = node.args[0]
                assert isinstance(first, ast.Constant), ast.unparse(node)
                given.add(str(first.value))
    assert {"wrong-code-system", "unit-not-taken", "unresolved-reference", "subjects-differ"} <= given
    assert given <= set(BY_FINDING)
