"""The catalogue of problems is complete, and every answer of the service is one of it or a good one."""

from __future__ import annotations

import ast
import importlib
import pkgutil
import re
from collections.abc import Iterator
from http import HTTPStatus
from pathlib import Path

import jsonschema
import pytest

import limbtier
from limbtier.api.findings import FINDINGS
from limbtier.api.openapi import problem_schema
from limbtier.api.problem_responses import pointer_fragment
from limbtier.api.problems import PROBLEM_TYPES, problem_types_text
from limbtier.foundation.errors import LimbtierError
from tests.api.service import CHECKOUT, Service, first_contact, problem_of

PACKAGE = CHECKOUT / "service" / "limbtier"
# Raised while the service starts, checks rule files or keeps keys, so a caller over HTTP never meets them.
AT_START = {
    "backup-refused",
    "export-refused",
    "invalid-rule-files",
    "invalid-setting",
    "invalid-settings",
    "key-refused",
    "limbtier-error",
    "log-keys-unusable",
    "no-new-edition",
    "not-allowed",
    "unsupported-by-prover",
}
# Turned into an invalid assessment, or into a log that is unavailable, before it leaves the inside.
INSIDE = {"calendar-range", "invalid-note", "invalid-key", "not-canonical"}
# Modules whose findings can reach a caller over HTTP.
REACHING = (
    "api/*.py",
    "domain/episode.py",
    "engine/answers.py",
    "engine/decide.py",
    "engine/episode_completion.py",
    "engine/guard.py",
    "engine/likely_slips.py",
    "engine/matcher.py",
    "foundation/strict_json.py",
    "interop/cds_hooks/feedback.py",
    "interop/cds_hooks/hook_request.py",
    "interop/cds_hooks/prefetch.py",
    "store/*.py",
    "use_cases/assessment_request.py",
    "use_cases/decide.py",
    "use_cases/episodes.py",
    "use_cases/event_request.py",
    "use_cases/keep_card_feedback.py",
    "use_cases/keep_event.py",
    "use_cases/release_[defj]*.py",
    "use_cases/retries.py",
    "use_cases/stored_decision.py",
)
CODE = re.compile(r"[a-z]+(-[a-z]+)+")


def errors_of(base: type[LimbtierError]) -> Iterator[type[LimbtierError]]:
    yield base
    for error in base.__subclasses__():
        yield from errors_of(error)


def codes_given(file: Path) -> Iterator[str]:
    """Codes that a module can give a finding: the first argument of each, and of each table or tuple of words
    from which one is made."""
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        first: ast.expr | None = None
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "Diagnostic" and node.args:
            first = node.args[0]
        elif isinstance(node, ast.Tuple) and len(node.elts) == 3:
            first = node.elts[0]
        if isinstance(first, ast.Constant) and isinstance(first.value, str) and CODE.fullmatch(first.value):
            yield first.value


def test_every_error_raised_on_purpose_has_a_problem_type() -> None:
    for module in pkgutil.walk_packages(limbtier.__path__, "limbtier."):
        if ".migrations." not in module.name:  # those run only within a migration
            importlib.import_module(module.name)
    codes = {error.code for error in errors_of(LimbtierError) if error.__module__.startswith("limbtier.")}
    assert {"invalid-assessment", "not-json", "store-unavailable"} <= codes
    assert codes - AT_START - INSIDE <= set(PROBLEM_TYPES)


def test_every_finding_that_can_reach_a_caller_is_documented() -> None:
    files = [file for pattern in REACHING for file in PACKAGE.glob(pattern)]
    given = {code for file in files for code in codes_given(file)}
    assert {"contradicting-answer", "unknown-edition", "bad-episode-reference", "missing-field"} <= given
    assert given - set(PROBLEM_TYPES) - AT_START <= set(FINDINGS)


def test_every_documented_finding_is_given_somewhere() -> None:
    text = "".join(
        file.read_text(encoding="utf-8")
        for pattern in REACHING
        for file in PACKAGE.glob(pattern)
        if file.name != "findings.py"
    )
    assert [code for code in FINDINGS if f'"{code}"' not in text] == []


def test_titles_are_unique_and_statuses_exist() -> None:
    assert len({kind.title for kind in PROBLEM_TYPES.values()}) == len(PROBLEM_TYPES)
    assert all(HTTPStatus(kind.status) for kind in PROBLEM_TYPES.values())


def test_each_problem_type_is_documented_where_its_type_points(shared_service: Service) -> None:
    index = shared_service.client.get("/problems").text
    for code, kind in PROBLEM_TYPES.items():
        page = shared_service.client.get(kind.type)
        assert page.status_code == 200
        assert page.headers["content-type"] == "text/html; charset=utf-8"
        assert kind.title in page.text
        assert f'href="problems/{code}"' in index
        assert f"### `{kind.type}`" in problem_types_text()


def test_an_unknown_problem_type_is_not_found(shared_service: Service) -> None:
    for name in ("nothing", "%3Cscript%3E", "x" * 3000):
        answer = shared_service.client.get(f"/problems/{name}")
        assert problem_of(answer, "not-found", 404) == [("unknown-problem", None)]


@pytest.mark.parametrize("path", ["/", "/v1", "/v1/previews/", "/v2/previews", "//v1/previews", "/%2e%2e/x"])
def test_a_path_without_anything_is_a_problem(shared_service: Service, path: str) -> None:
    assert problem_of(shared_service.client.get(path), "unknown-route", 404) == [("unknown-route", None)]


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("GET", "/v1/previews", "OPTIONS, POST"),
        ("HEAD", "/v1/previews", "OPTIONS, POST"),
        ("PUT", "/v1/decisions", "GET, HEAD, OPTIONS, POST"),
        ("DELETE", "/v1/decisions/00000000-0000-4000-8000-000000000000", "GET, HEAD, OPTIONS"),
        ("POST", "/v1/vocabulary", "GET, HEAD, OPTIONS"),
        ("TRACE", "/health/live", "GET, HEAD, OPTIONS"),
        ("BREW", "/docs", "GET, HEAD, OPTIONS"),
    ],
)
def test_a_method_not_taken_is_a_problem_that_names_those_that_are(
    shared_service: Service, method: str, path: str, allowed: str
) -> None:
    answer = shared_service.client.request(method, path)
    assert answer.status_code == 405
    assert answer.headers["allow"] == allowed
    if method != "HEAD":
        assert problem_of(answer, "method-not-allowed", 405) == [("method-not-allowed", None)]


@pytest.mark.parametrize("path", ["/v1/vocabulary", "/v1/editions", "/health/live", "/docs", "/openapi.json"])
def test_head_is_get_without_the_body(shared_service: Service, path: str) -> None:
    got, head = shared_service.client.get(path), shared_service.client.head(path)
    assert head.status_code == got.status_code
    assert head.headers == got.headers
    assert head.content == b""


def test_options_names_the_methods_and_nothing_else(shared_service: Service) -> None:
    answer = shared_service.client.options("/v1/editions", headers={"Origin": "https://elsewhere.example"})
    assert (answer.status_code, answer.headers["allow"], answer.content) == (204, "GET, HEAD, OPTIONS", b"")
    assert not [name for name in answer.headers if name.startswith("access-control-")]
    problem_of(shared_service.client.options("/nothing"), "unknown-route", 404)


@pytest.mark.parametrize("path", ["/v1/editions", "/nothing", "/health/live", "/problems/not-json", "/docs"])
def test_every_answer_is_guarded_by_its_headers(shared_service: Service, path: str) -> None:
    headers = shared_service.client.get(path).headers
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"
    assert headers["referrer-policy"] == "no-referrer"
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert "unsafe" not in headers["content-security-policy"]


def test_problems_are_as_their_schema_says(shared_service: Service) -> None:
    answers = [
        shared_service.client.get("/nothing"),
        shared_service.client.put("/v1/previews"),
        shared_service.post("/v1/previews", b"nonsense"),
        shared_service.post("/v1/previews", {**first_contact(), "calendar": None, "x/y": 1}),
        shared_service.client.get("/v1/vocabulary?x=1"),
    ]
    for answer in answers:
        jsonschema.validate(answer.json(), problem_schema())


# RFC 6901, section 6, gives these pointers and their forms as URI fragments.
@pytest.mark.parametrize(
    ("pointer", "fragment"),
    [
        ("", "#"),
        ("/foo", "#/foo"),
        ("/foo/0", "#/foo/0"),
        ("/", "#/"),
        ("/a~1b", "#/a~1b"),
        ("/c%d", "#/c%25d"),
        ("/e^f", "#/e%5Ef"),
        ("/g|h", "#/g%7Ch"),
        ("/i\\j", "#/i%5Cj"),
        ('/k"l', "#/k%22l"),
        ("/ ", "#/%20"),
        ("/m~0n", "#/m~0n"),
    ],
)
def test_pointers_are_fragments_as_the_standard_writes_them(pointer: str, fragment: str) -> None:
    assert pointer_fragment(pointer) == fragment


def test_no_code_stands_twice_in_the_catalogue() -> None:
    for file in ("findings.py", "problems.py"):
        text = (PACKAGE / "api" / file).read_text(encoding="utf-8")
        codes = re.findall(r'(?:Finding|ProblemType)\(\s*"([a-z-]+)"', text)
        assert sorted(codes) == sorted(set(codes))
