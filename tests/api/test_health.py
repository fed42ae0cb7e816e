"""Whether the service says truly that it lives and is ready."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from limbtier.engine.prepared import PreparedEdition
from limbtier.use_cases.decide import ReadyRules
from tests.api.service import Service, problem_of

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
