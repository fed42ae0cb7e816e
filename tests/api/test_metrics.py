"""What is counted, read by the parser of the library that wrote it."""

from __future__ import annotations

from prometheus_client.parser import text_string_to_metric_families

from tests.api.service import Service, first_contact, invented

Samples = dict[tuple[str, frozenset[tuple[str, str]]], float]


def read(service: Service) -> Samples:
    """Every sample that is told, by name and labels."""
    answer = service.client.get("/metrics")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def value(samples: Samples, name: str, **labels: str) -> float:
    return samples.get((name, frozenset(labels.items())), 0.0)


def requests(samples: Samples, route: str, method: str, status: str) -> float:
    return value(samples, "limbtier_http_requests_total", route=route, method=method, status=status)


def test_requests_are_counted_by_the_template_of_their_route(service: Service) -> None:
    made = service.post("/v1/decisions", first_contact())
    service.client.get(made.headers["location"])
    service.client.get("/v1/decisions/00000000-0000-4000-8000-000000000000")
    service.post("/v1/previews", b"{")
    service.client.get("/no/such/page")
    samples = read(service)
    assert requests(samples, "/v1/decisions", "POST", "201") == 1
    assert requests(samples, "/v1/decisions/{decision_id}", "GET", "200") == 1
    assert requests(samples, "/v1/decisions/{decision_id}", "GET", "404") == 1
    assert requests(samples, "/v1/previews", "POST", "400") == 1
    assert requests(samples, "unmatched", "GET", "404") == 1
    assert value(samples, "limbtier_http_request_duration_seconds_count", route="/v1/previews") == 1


def test_decisions_are_counted_from_the_log_and_previews_are_not(service: Service) -> None:
    service.post("/v1/decisions", first_contact())
    service.post("/v1/previews", first_contact())
    both = service.post("/v1/decisions", invented("both_legs.json")).json()
    read(service)
    samples = read(service)  # asking again counts nothing twice
    of_edition = {"edition": both["edition"]["id"], "tier": "mild"}
    assert value(samples, "limbtier_decided_limbs_total", **of_edition, disposition="start") == 2
    stopped = {**of_edition, "tier": "withhold", "disposition": "stop_and_escalate"}
    assert value(samples, "limbtier_decided_limbs_total", **stopped) == 1
    assert value(samples, "limbtier_log_entries") == service.log.size
    in_force = service.client.get("/health/ready").json()["active_edition"]
    assert value(samples, "limbtier_active_edition_info", edition=in_force) == 1


def test_nothing_is_told_of_a_person_a_caller_or_a_decision(service: Service) -> None:
    made = service.post("/v1/decisions", first_contact()).json()
    service.client.get("/v1/decisions", params={"episode": first_contact()["episode"]})
    service.client.get("/a/page/that/names/943-476-5919")
    told = service.client.get("/metrics").text
    for secret in (made["id"], made["caller"]["id"], "943-476-5919"):
        assert secret not in told
    assert first_contact()["episode"] not in told


def test_a_store_that_cannot_be_read_is_told_and_the_rest_goes_on(service: Service) -> None:
    assert value(read(service), "limbtier_store_readable") == 1
    service.break_log()
    samples = read(service)
    assert value(samples, "limbtier_store_readable") == 0
    assert not [name for name, _ in samples if name == "limbtier_log_entries"]
    assert requests(samples, "/metrics", "GET", "200") == 1


def test_a_method_that_nobody_knows_makes_no_label_of_its_own(service: Service) -> None:
    service.client.request("BREW", "/v1/previews")
    samples = read(service)
    assert (
        requests(samples, "/v1/previews", "other", "405") + requests(samples, "unmatched", "other", "405")
        == 1
    )
