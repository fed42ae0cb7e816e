"""What the tests of FHIR share: the edition in force at the invented contacts, and the shipped code map."""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from limbtier.domain.code_map import CodeMap
from limbtier.domain.edition import Edition
from limbtier.engine.prepared import PreparedEdition
from limbtier.interop.fhir.form import Form, form_of
from limbtier.rulesets.read_code_map import load_code_map
from limbtier.use_cases.decide import ReadyRules
from tests.support.assessments import MOMENT

CHECKOUT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="session")
def prepared(rules: ReadyRules) -> PreparedEdition:
    found = rules.edition(None, MOMENT)
    assert found is not None
    return found


@pytest.fixture(scope="session")
def edition(prepared: PreparedEdition) -> Edition:
    return prepared.edition


@pytest.fixture(scope="session")
def editions(rules: ReadyRules) -> Mapping[str, Edition]:
    return {name: one.edition for name, one in rules.editions.items()}


@pytest.fixture(scope="session")
def forms(editions: Mapping[str, Edition]) -> Mapping[str, Form]:
    return {name: form_of(one.vocabulary) for name, one in editions.items()}


@pytest.fixture(scope="session")
def code_map(editions: Mapping[str, Edition]) -> CodeMap:
    return load_code_map(CHECKOUT / "rules", [one.vocabulary for one in editions.values()])


@pytest.fixture
def contact() -> dict[str, Any]:
    """The invented first contact, its numbers with their digits."""
    text = (CHECKOUT / "demo_data" / "first_contact.json").read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text, parse_float=Decimal)
    return found
