"""The service under test."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.ready_rules import ready_rules
from tests.api.running import Server, serving
from tests.api.service import CHECKOUT, Service, start


@pytest.fixture(scope="session")
def rules() -> ReadyRules:
    """The rules of the project, made ready once."""
    return ready_rules(CHECKOUT / "rules")


@pytest.fixture(scope="session")
def shared_service(rules: ReadyRules) -> Iterator[Service]:
    """A service for tests that leave nothing behind that another could see."""
    service = start(rules)
    with service.client:
        yield service


@pytest.fixture
def service(rules: ReadyRules) -> Iterator[Service]:
    """A service with an empty store."""
    service = start(rules)
    with service.client:
        yield service


@pytest.fixture(scope="session")
def server(rules: ReadyRules) -> Iterator[Server]:
    """The same service behind a real server."""
    with serving(rules) as running:
        yield running
