"""What the governance team reads of an edition over HTTP: 202 while it is worked out, then one outcome."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Any, cast

import httpx2
import jsonschema
import orjson
import pytest

from limbtier.api.openapi import openapi_file
from limbtier.domain.caller import AUDIT, DECIDE, EDIT, READ
from limbtier.governance.document import HTML_POLICY
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.edition_documents import EditionInFull
from limbtier.use_cases.governance_work import MOST_WAITING
from tests.api.service import Service, bearer, first_contact, problem_of, start

CORE, NEWEST, LOCAL = "core-2026.1.0", "core-2026.1.1", "quillerbeck-2026.1.0"
LONGEST_SECONDS = 300.0
Answer = httpx2.Response


@pytest.fixture(scope="module")
def service(rules: ReadyRules) -> Iterator[Service]:
    """A service of this module, whose log holds two decisions of one organisation."""
    service = start(rules)
    with service.client:
        for age in (60, 80):
            contact = first_contact()
            contact["person"]["age_years"] = age
            assert service.post("/v1/decisions", contact).status_code == 201
        yield service


def settled(service: Service, path: str, headers: dict[str, str] | None = None) -> Answer:
    """The answer at an address once it is not 202 any more."""
    until = time.monotonic() + LONGEST_SECONDS
    while True:
        answer = service.client.get(path, headers=headers or {})
        if answer.status_code != 202:
            return answer
        assert answer.headers["retry-after"] == "2"
        assert answer.json()["state"] == "running"
        assert time.monotonic() < until
        time.sleep(0.2)


@pytest.fixture(scope="module")
def fits(service: Service) -> Callable[[Answer, str], dict[str, Any]]:
    """Tells whether an answer is as the description of the API says."""
    document = orjson.loads(openapi_file(service.app))

    def check(answer: Answer, name: str) -> dict[str, Any]:
        schema = {"$ref": f"#/components/schemas/{name}", "components": document["components"]}
        jsonschema.Draft202012Validator(schema).validate(answer.json())
        return cast(dict[str, Any], answer.json())

    return check


# ---- checks, proofs, comparison ------------------------------------------------------------------------


def test_the_checks_of_the_core_edition_find_no_error(
    service: Service, fits: Callable[[Answer, str], dict[str, Any]]
) -> None:
    first = service.client.get(f"/v1/editions/{CORE}/checks")
    if first.status_code == 202:
        assert fits(first, "Work")["kind"] == "checks"
    record = fits(settled(service, f"/v1/editions/{CORE}/checks"), "CheckResult")
    assert record["edition"] == CORE
    assert record["failed_cases"] == []
    assert {one["severity"] for one in record["findings"]} <= {"warning"}
    assert record["worked_cases"] == len(service.decider.rules.editions[CORE].edition.cases)


def test_every_statement_about_the_core_edition_is_proved_and_known_at_once_afterwards(
    service: Service, fits: Callable[[Answer, str], dict[str, Any]]
) -> None:
    path = f"/v1/editions/{CORE}/proofs"
    record = fits(settled(service, path), "ProofList")
    assert record["all_proved"] is True
    assert record["proved"] == len(record["verdicts"]) > 40
    assert record["digest"] == service.decider.rules.editions[CORE].edition.digest
    again = service.client.get(path)
    assert again.status_code == 200
    assert again.content == service.client.get(path).content


def test_the_newest_core_edition_decides_everything_as_the_one_before(
    service: Service, fits: Callable[[Answer, str], dict[str, Any]]
) -> None:
    path = f"/v1/editions/{NEWEST}/comparison?with={CORE}"
    written = fits(service.client.get(path), "Comparison")
    assert written["behaviour"] is None
    assert (written["before"]["id"], written["after"]["id"]) == (CORE, NEWEST)
    assert {one["part"] for one in written["changes"]} == {"edition", "worked case"}
    both = fits(settled(service, f"{path}&behaviour=true"), "Comparison")
    assert both["behaviour"]["equivalent"] is True
    assert both["changes"] == written["changes"]


def test_a_comparison_is_a_page_or_markdown_for_who_asks_for_it(service: Service) -> None:
    path = f"/v1/editions/{NEWEST}/comparison?with={CORE}"
    page = service.client.get(path, headers={"Accept": "text/html"})
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    assert page.text.startswith("<!DOCTYPE html>")
    assert page.headers["content-security-policy"].startswith(HTML_POLICY)
    text = service.client.get(f"{path}&form=markdown", headers={"Accept": "application/json"})
    assert text.headers["content-type"] == "text/markdown; charset=utf-8"
    assert text.text.startswith("# ")


# ---- rendering, hazards, origin ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("accept", "form"),
    [
        ("*/*", "html"),
        ("text/*;q=0.5, text/markdown", "markdown"),
        ("text/html;q=0.2, text/markdown;q=0.8, */*;q=0.1", "markdown"),
        ("text/markdown;q=0, text/*", "html"),
    ],
)
def test_an_edition_is_rendered_in_the_form_that_is_liked_best(
    accept: str, form: str, service: Service
) -> None:
    answer = service.client.get(f"/v1/editions/{LOCAL}/rendering", headers={"Accept": accept})
    edition = EditionInFull.of(service.decider.rules, LOCAL)
    assert answer.status_code == 200
    assert answer.text == (edition.html() if form == "html" else edition.markdown())
    assert answer.headers["vary"] == "Accept"


def test_what_nobody_takes_is_not_acceptable(service: Service) -> None:
    answer = service.client.get(f"/v1/editions/{CORE}/rendering", headers={"Accept": "application/pdf"})
    assert problem_of(answer, "not-acceptable", 406) == [("not-acceptable", None)]


def test_the_hazard_log_stands_beside_an_edition(service: Service) -> None:
    answer = settled(service, f"/v1/editions/{LOCAL}/hazards")
    record = answer.json()
    assert record["edition"]["id"] == LOCAL
    assert "compliance" in record["statement"]
    page = service.client.get(f"/v1/editions/{LOCAL}/hazards", headers={"Accept": "text/html"})
    assert record["hazards"][0]["id"] in page.text


def test_a_local_edition_says_what_it_changes_and_why(service: Service) -> None:
    record = service.client.get(f"/v1/editions/{LOCAL}").json()
    assert record["bases"] == [CORE] == [record["based_on"]]
    edition = service.decider.rules.editions[LOCAL].edition
    assert len(record["changes"]) == len(edition.changes) > 10
    setting = next(one for one in record["changes"] if one["name"] == "review_always")
    assert (setting["part"], setting["act"], setting["decided_by"]) == (
        "setting",
        "replaced",
        "tissue viability lead",
    )
    assert setting["reason"].startswith("Four weeks")
    assert {one["act"] for one in record["changes"]} == {"added", "replaced", "withdrawn"}
    rules = {
        one["id"]: one["origin"] for one in service.client.get(f"/v1/editions/{LOCAL}/rules").json()["rules"]
    }
    assert rules["sepsis"] == {"edition": CORE, "act": "given", "reason": None, "decided_by": None}
    assert rules["risk-without-result"]["act"] == "added"
    assert rules["risk-without-result"]["decided_by"] == "vascular nurse specialist"


def test_an_edition_without_a_base_changes_nothing(service: Service) -> None:
    record = service.client.get(f"/v1/editions/{CORE}").json()
    assert (record["based_on"], record["bases"], record["changes"]) == (None, [], [])


# ---- impact --------------------------------------------------------------------------------------------


def measured(service: Service, query: str = "", headers: dict[str, str] | None = None) -> Answer:
    """A measured impact of the local edition."""
    begun = service.client.post(f"/v1/editions/{LOCAL}/impact{query}", headers=headers or {})
    assert begun.status_code == 202, begun.text
    return settled(service, begun.headers["location"], headers)


def test_the_impact_counts_the_decisions_of_the_log(
    service: Service, fits: Callable[[Answer, str], dict[str, Any]]
) -> None:
    record = fits(measured(service), "ImpactResult")
    assert record["edition"]["id"] == LOCAL
    assert (record["assessments"], record["legs"], record["legs_that_differ"]) == (2, 2, 1)
    assert record["tier_moves"] == {"up": 0, "down": 1, "same": 1}
    assert record["not_decided"] == []
    listed = service.client.get("/v1/decisions").json()["decisions"]
    [change] = record["changes"]
    assert change["reference"] in {one["id"] for one in listed}


@pytest.mark.parametrize(
    ("form", "media", "begins"),
    [("csv", "text/csv; charset=utf-8", "what,"), ("svg", "image/svg+xml", "<svg")],
)
def test_the_impact_is_a_table_or_a_picture_too(form: str, media: str, begins: str, service: Service) -> None:
    location = service.client.post(f"/v1/editions/{LOCAL}/impact").headers["location"]
    settled(service, location)
    asked = service.client.get(location, headers={"Accept": media.partition(";")[0]})
    named = service.client.get(f"{location}?form={form}")
    assert asked.content == named.content
    assert asked.headers["content-type"] == named.headers["content-type"] == media
    assert asked.text.startswith(begins)


def test_a_period_without_decisions_has_an_impact_on_none(service: Service) -> None:
    record = measured(service, "?from=2020-01-01&before=2020-02-01").json()
    assert (record["assessments"], record["legs"]) == (0, 0)


def test_an_edition_can_be_measured_against_another(service: Service) -> None:
    record = measured(service, f"?against={LOCAL}").json()
    assert record["legs_that_differ"] == 0
    assert LOCAL in record["compared_with"]


def test_another_organisation_has_an_impact_of_its_own_and_cannot_read_this_one(service: Service) -> None:
    location = service.client.post(f"/v1/editions/{LOCAL}/impact").headers["location"]
    assert settled(service, location).json()["assessments"] == 2
    other = bearer(service.keys.make("other", {AUDIT, READ}, "elsewhere"))
    stranger = service.client.get(location, headers=other)
    assert problem_of(stranger, "not-found", 404) == [("unknown-impact", None)]
    assert measured(service, headers=other).json()["assessments"] == 0


def test_the_same_question_about_an_unchanged_log_has_one_address(service: Service) -> None:
    first, second = (service.client.post(f"/v1/editions/{LOCAL}/impact") for _ in range(2))
    assert first.headers["location"] == second.headers["location"]
    other = service.client.post(f"/v1/editions/{LOCAL}/impact?from=2026-01-01")
    assert other.headers["location"] != first.headers["location"]
    settled(service, other.headers["location"])


# ---- who may, and what is refused ----------------------------------------------------------------------

PATHS = ("checks", "proofs", f"comparison?with={CORE}", "rendering", "hazards")


@pytest.mark.parametrize("path", PATHS)
def test_reading_an_edition_needs_the_scope_to_read(path: str, service: Service) -> None:
    decides = bearer(service.keys.make("some", {DECIDE}))
    answer = service.client.get(f"/v1/editions/{CORE}/{path}", headers=decides)
    assert problem_of(answer, "insufficient-scope", 403) == [("insufficient-scope", None)]
    none = service.client.get(f"/v1/editions/{CORE}/{path}", headers={"Authorization": ""})
    assert none.status_code == 401


def test_an_impact_needs_the_scope_to_audit_or_to_edit(service: Service) -> None:
    reads = bearer(service.keys.make("some", {READ, DECIDE}))
    path = f"/v1/editions/{LOCAL}/impact"
    assert problem_of(service.client.post(path, headers=reads), "insufficient-scope", 403)
    edits = bearer(service.keys.make("some", {EDIT}))
    location = service.client.post(path, headers=edits).headers["location"]
    assert problem_of(service.client.get(location, headers=reads), "insufficient-scope", 403)
    assert settled(service, location, edits).status_code == 200


@pytest.mark.parametrize("path", [*PATHS, "impacts/" + "0" * 64])
@pytest.mark.parametrize(
    "edition", ["core-2026.1.7", "nobody", "..%2f..%2fetc", "core-2026.1.0%00", "é" * 300]
)
def test_an_edition_that_is_not_there_is_not_found(edition: str, path: str, service: Service) -> None:
    answer = service.client.get(f"/v1/editions/{edition}/{path}")
    if answer.json()["type"] != "/problems/unknown-route":  # a slash in the name leads nowhere
        assert problem_of(answer, "not-found", 404) == [("unknown-edition", None)]
    if edition == "core-2026.1.7":
        assert "Did you mean `core-2026.1." in answer.text


@pytest.mark.parametrize(
    ("path", "codes"),
    [
        ("comparison", ["bad-parameter"]),
        (f"comparison?with={CORE}&behaviour=yes", ["bad-parameter"]),
        ("comparison?behaviour=1", ["bad-parameter", "bad-parameter"]),
        (f"comparison?with={CORE}&with={CORE}", ["repeated-parameter"]),
        ("proofs?rule=stent", ["unknown-parameter"]),
        ("checks?on=2026-01-01", ["unknown-parameter"]),
        ("rendering?form=pdf", ["bad-parameter"]),
        ("rendering?form=json", ["bad-parameter"]),
    ],
)
def test_a_query_that_cannot_be_used_is_refused(path: str, codes: list[str], service: Service) -> None:
    answer = service.client.get(f"/v1/editions/{CORE}/{path}")
    assert [code for code, _ in problem_of(answer, "invalid-query", 422)] == codes


@pytest.mark.parametrize("day", ["20260301", "2026-W10-1", "tomorrow", "2026-03-01T00:00", "9" * 5000])
def test_a_day_that_is_none_is_refused(day: str, service: Service) -> None:
    answer = service.client.post(f"/v1/editions/{CORE}/impact?from={day}&before={day}")
    assert [code for code, _ in problem_of(answer, "invalid-query", 422)] == ["bad-parameter"] * 2


def test_a_day_that_does_not_exist_is_told_apart(service: Service) -> None:
    answer = service.client.post(f"/v1/editions/{CORE}/impact?from=2026-02-30&before=2026-03-01")
    assert [code for code, _ in problem_of(answer, "invalid-query", 422)] == ["impossible-date"]


@pytest.mark.parametrize("with_", ["core-2026.1.7", "", "../core", "%00"])
def test_an_edition_to_compare_with_that_is_not_there_is_not_found(with_: str, service: Service) -> None:
    for path in (f"comparison?with={with_}", f"comparison?with={with_}&behaviour=true"):
        answer = service.client.get(f"/v1/editions/{CORE}/{path}")
        assert problem_of(answer, "not-found", 404) == [("unknown-edition", None)]
    answer = service.client.post(f"/v1/editions/{CORE}/impact?against={with_}")
    assert problem_of(answer, "not-found", 404) == [("unknown-edition", None)]


@pytest.mark.parametrize("impact", ["0" * 64, "0" * 63, "G" * 64, "%2e%2e%00", "x" * 5000])
def test_an_impact_that_nobody_measured_is_not_found(impact: str, service: Service) -> None:
    answer = service.client.get(f"/v1/editions/{CORE}/impacts/{impact}")
    assert answer.status_code == 404


def test_an_outcome_of_other_work_is_no_impact(service: Service) -> None:
    settled(service, f"/v1/editions/{CORE}/proofs")
    [(key,)] = service.log.store.database.rows("SELECT key FROM governance_results WHERE kind = 'proofs'")
    answer = service.client.get(f"/v1/editions/{CORE}/impacts/{key}")
    assert problem_of(answer, "not-found", 404) == [("unknown-impact", None)]


@pytest.mark.parametrize(
    "accept", ["", ",,,", "text", "a/b;q=x", "*/json", "text/html;q=9", "\x00", "x" * 9000]
)
def test_a_header_that_says_nothing_is_no_fault_of_the_service(accept: str, service: Service) -> None:
    answer = service.client.get(f"/v1/editions/{CORE}/hazards", headers={"Accept": accept})
    assert answer.status_code in (200, 202, 400, 406)


def test_too_much_work_is_refused_with_when_to_come_again(service: Service, rules: ReadyRules) -> None:
    fresh = start(rules)
    with fresh.client:
        days = [f"2026-01-{day:02}" for day in range(1, MOST_WAITING + 2)]
        answers = [fresh.client.post(f"/v1/editions/{LOCAL}/impact?from={day}") for day in days]
    assert [answer.status_code for answer in answers] == [202] * MOST_WAITING + [503]
    problem_of(answers[-1], "too-much-work", 503)
    assert answers[-1].headers["retry-after"] == "60"
