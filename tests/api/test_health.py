"""Whether the service says truly that it lives and is ready."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from types import MappingProxyType

from limbtier.engine.prepared import PreparedEdition
from limbtier.use_cases.decide import ReadyRules
from tests.api.service import Service, first_contact, problem_of

NOTHING: Mapping[str, PreparedEdition] = MappingProxyType({})


def test_a_running_service_is_live_and_ready(shared_service: Service, rules: ReadyRules) -> None:
    assert shared_service.client.get("/health/live").json() == {"status": "live"}
    answer = shared_service.client.get("/health/ready?probe=1")
    assert answer.status_code == 200
    assert answer.json()["editions"] == sorted(rules.editions)
    assert answer.json()["store"] == "writable"


def test_looking_whether_the_store_is_writable_writes_nothing(service: Service) -> None:
    service.client.get("/health/ready")
    assert service.log.size == 0


def test_a_service_without_store_or_edition_is_live_and_not_ready(
    service: Service, rules: ReadyRules
) -> None:
    service.break_log()
    service.decider.rules = ReadyRules(NOTHING, {}, rules.calendars, rules.rule_set)
    assert service.client.get("/health/live").status_code == 200
    found = problem_of(service.client.get("/health/ready"), "not-ready", 503)
    assert found == [("store-unavailable", None), ("no-edition-in-force", None)]
    found = problem_of(service.client.get("/v1/vocabulary"), "not-found", 404)
    assert found == [("no-edition-in-force", None)]


def test_a_service_that_cannot_sign_says_since_when(service: Service) -> None:
    assert service.client.get("/health/ready").json()["signing"] == "working"
    keys = Path(str(service.log.store.database.file)).parent / "keys"
    keys.rename(keys.with_name("aside"))
    answer = service.client.get("/health/ready")
    assert answer.status_code == 200
    assert answer.json()["signing"] == "failing"
    assert datetime.fromisoformat(answer.json()["signing_failing_since"]).tzinfo is not None
    assert service.post("/v1/decisions", first_contact()).status_code == 201
    keys.with_name("aside").rename(keys)
    service.log.checkpoint()
    assert service.client.get("/health/ready").json()["signing_failing_since"] is None
