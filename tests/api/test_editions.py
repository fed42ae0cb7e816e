"""Editions, rules and vocabulary as callers read them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from limbtier.use_cases.decide import ReadyRules
from tests.api.service import Service, problem_of


def test_the_vocabulary_has_every_input_in_order(shared_service: Service, rules: ReadyRules) -> None:
    answer = shared_service.client.get("/v1/vocabulary").json()
    edition = rules.editions[answer["edition"]["id"]].edition
    assert [entry["name"] for entry in answer["inputs"]] == list(edition.vocabulary.inputs)
    assert [entry["name"] for entry in answer["measures"]] == list(edition.vocabulary.measures)
    named = shared_service.client.get("/v1/vocabulary", params={"edition": edition.id})
    assert named.json() == answer


def test_the_vocabulary_tells_all_that_a_form_needs(shared_service: Service) -> None:
    inputs = {entry["name"]: entry for entry in shared_service.client.get("/v1/vocabulary").json()["inputs"]}
    entry = inputs["weight_gain_kg_over_2_days"]
    assert entry["scope"] == "person"
    assert entry["unit"] == "kg"
    assert entry["range"] == {"at_least": -30, "at_most": 30}
    assert entry["places"] == 1
    assert entry["may_be_not_done"] is True
    assert entry["asked_when"] == {
        "input": "heart_failure_status",
        "required": "suspected or stable or decompensated or not_known",
    }
    assert inputs["wound_length_cm"]["range"]["at_least"] == 0.1
    first = inputs["mobility"]["choices"][0]
    assert (first["value"], first["counts_as"]) == ("walks", None)
    assert first["meaning"]


def test_editions_are_listed_with_the_active_one(shared_service: Service, rules: ReadyRules) -> None:
    answer = shared_service.client.get("/v1/editions").json()
    assert {entry["id"] for entry in answer["editions"]} == set(rules.editions)
    assert answer["active"] in rules.editions


def test_an_edition_shows_its_tiers_settings_and_guard_rails(
    shared_service: Service, rules: ReadyRules
) -> None:
    for name, prepared in rules.editions.items():
        answer = shared_service.client.get(f"/v1/editions/{name}").json()
        assert [tier["name"] for tier in answer["tiers"]] == list(prepared.tier_names)
        assert {entry["name"] for entry in answer["settings"]} == set(prepared.edition.settings)
        assert [rail["id"] for rail in answer["guard_rails"]["rails"]] == [
            rail.id for rail in prepared.guard_rails.rails
        ]
        assert answer["digest"] == prepared.edition.digest


def test_every_rule_shows_its_condition_reason_and_full_sources(
    shared_service: Service, rules: ReadyRules
) -> None:
    for name, prepared in rules.editions.items():
        answer = shared_service.client.get(f"/v1/editions/{name}/rules").json()
        assert [entry["id"] for entry in answer["rules"]] == [rule.id for rule in prepared.edition.rules]
        for entry, rule in zip(answer["rules"], prepared.edition.rules, strict=True):
            assert entry["when"]
            assert entry["concludes"]
            assert entry["because"] == rule.because
            assert [source["id"] for source in entry["sources"]] == list(rule.sources)
            assert all(source["title"] and source["basis"] for source in entry["sources"])


@pytest.mark.parametrize("path", ["/v1/editions/core-2999.1.0", "/v1/editions/x/rules", "/v1/editions/%00"])
def test_an_edition_that_is_not_there_is_not_found(shared_service: Service, path: str) -> None:
    assert problem_of(shared_service.client.get(path), "not-found", 404) == [("unknown-edition", None)]


def test_the_vocabulary_of_an_unknown_edition_is_not_found(shared_service: Service) -> None:
    answer = shared_service.client.get("/v1/vocabulary?edition=core-2999.1.0")
    assert problem_of(answer, "not-found", 404) == [("unknown-edition", None)]


@pytest.mark.parametrize(
    ("query", "findings"),
    [
        ("edtion=core-2026.1.0", [("unknown-parameter", None)]),
        ("edition=a&edition=b", [("repeated-parameter", None)]),
        ("edition=a&edition=b&x=1", [("repeated-parameter", None), ("unknown-parameter", None)]),
        ("%00=1", [("unknown-parameter", None)]),
    ],
)
def test_a_query_that_cannot_be_used_is_refused(
    shared_service: Service, query: str, findings: list[tuple[str, None]]
) -> None:
    answer = shared_service.client.get(f"/v1/vocabulary?{query}")
    assert problem_of(answer, "invalid-query", 422) == findings


def test_rules_swapped_while_running_are_seen_at_once_and_whole(service: Service, rules: ReadyRules) -> None:
    name, prepared = next(iter(rules.editions.items()))
    other = replace(prepared, edition=replace(prepared.edition, version="2026.2.0", title="Another"))
    service.decider.rules = ReadyRules.of([other], rules.calendars)
    assert service.client.get("/v1/editions").json()["active"] == "core-2026.2.0"
    assert service.client.get("/v1/vocabulary").json()["edition"]["title"] == "Another"
    problem_of(service.client.get(f"/v1/editions/{name}"), "not-found", 404)
    request = service.client.get("/openapi.json").json()["components"]["schemas"]["AssessmentRequest"]
    assert request["properties"]["edition"]["enum"] == ["core-2026.2.0"]
