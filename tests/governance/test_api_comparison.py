"""Changes of an API that break callers are found, and those that break nobody are not."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import orjson
import pytest

from limbtier.cli import main
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.api_comparison import breaking_changes

Document = dict[str, Any]
Change = Callable[[Document], object]
DESCRIPTION = CHECKOUT / "openapi" / "openapi.json"

SMALL: Document = {
    "openapi": "3.1.0",
    "security": [{"key": ["read", "write"]}],
    "paths": {
        "/things": {
            "get": {
                "parameters": [
                    {"name": "limit", "in": "query", "schema": {"type": "integer", "maximum": 3}},
                    {"name": "colour", "in": "query", "schema": {"type": "string", "enum": ["red", "blue"]}},
                ],
                "responses": {
                    "200": {
                        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Page"}}}
                    }
                },
            },
            "post": {
                "security": [{"key": ["write"]}, {"token": []}],
                "requestBody": {
                    "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Thing"}}}
                },
                "responses": {
                    "201": {
                        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Made"}}},
                        "headers": {"Location": {"required": True}},
                    },
                    "404": {"content": {"application/problem+json": {"schema": {"type": "object"}}}},
                },
            },
        },
        "/things/{id}": {
            "get": {
                "parameters": [{"name": "id", "in": "path", "required": True, "schema": {"type": "string"}}],
                "responses": {
                    "200": {
                        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Made"}}}
                    }
                },
            }
        },
    },
    "components": {
        "schemas": {
            "Thing": {
                "type": "object",
                "additionalProperties": False,
                "required": ["name"],
                "properties": {
                    "name": {"type": "string", "maxLength": 20, "minLength": 1},
                    "kind": {"type": "string", "enum": ["one", "two"]},
                    "weight": {"anyOf": [{"type": "number", "minimum": 0}, {"const": "not_done"}]},
                    "parts": {
                        "type": "array",
                        "items": {"$ref": "#/components/schemas/Thing"},
                        "maxItems": 5,
                    },
                },
            },
            "Made": {
                "type": "object",
                "required": ["id", "state"],
                "properties": {
                    "id": {"type": "string"},
                    "state": {"type": "string", "enum": ["new", "old"]},
                    "size": {"anyOf": [{"type": "integer"}, {"type": "null"}]},
                    "first": {"$ref": "#/components/schemas/Made"},
                },
            },
            "Page": {
                "type": "object",
                "required": ["things"],
                "properties": {"things": {"type": "array", "items": {"$ref": "#/components/schemas/Made"}}},
            },
        }
    },
}


def schema(document: Document, name: str) -> Document:
    found: Document = document["components"]["schemas"][name]
    return found


def thing(document: Document) -> Document:
    """The members of what is sent."""
    found: Document = schema(document, "Thing")["properties"]
    return found


def made(document: Document) -> Document:
    """The members of what is answered."""
    found: Document = schema(document, "Made")["properties"]
    return found


def operation(document: Document, method: str, path: str = "/things") -> Document:
    found: Document = document["paths"][path][method]
    return found


BREAKING: dict[str, tuple[str, Change]] = {
    "a route is removed": ("removed-route", lambda d: d["paths"].pop("/things/{id}")),
    "a method is removed": ("removed-method", lambda d: d["paths"]["/things"].pop("post")),
    "a status is removed": ("removed-status", lambda d: operation(d, "post")["responses"].pop("404")),
    "a media type is removed": (
        "removed-media-type",
        lambda d: operation(d, "get")["responses"]["200"]["content"].pop("application/json"),
    ),
    "a header is removed": (
        "removed-header",
        lambda d: operation(d, "post")["responses"]["201"].pop("headers"),
    ),
    "a member of an answer is removed": ("removed-answer-member", lambda d: made(d).pop("size")),
    "a member of an answer becomes optional": (
        "optional-answer-member",
        lambda d: schema(d, "Made")["required"].remove("state"),
    ),
    "a member of an answer changes its type": (
        "changed-type",
        lambda d: made(d)["id"].update(type="integer"),
    ),
    "a value of an answer is added": (
        "added-answer-value",
        lambda d: made(d)["state"]["enum"].append("odd"),
    ),
    "an answer may be null": (
        "changed-type",
        lambda d: made(d).update(id={"anyOf": [{"type": "string"}, {"type": "null"}]}),
    ),
    "a new member must be sent": (
        "new-required-member",
        lambda d: (
            thing(d).update(colour={"type": "string"}),
            schema(d, "Thing")["required"].append("colour"),
        ),
    ),
    "a member that was optional must be sent": (
        "new-required-member",
        lambda d: schema(d, "Thing")["required"].append("kind"),
    ),
    "a member is no longer taken": ("removed-request-member", lambda d: thing(d).pop("kind")),
    "a value is no longer taken": (
        "removed-request-value",
        lambda d: thing(d)["kind"]["enum"].remove("two"),
    ),
    "only certain values are taken": (
        "removed-request-value",
        lambda d: thing(d)["name"].update(enum=["this"]),
    ),
    "a text may be less long": ("tightened-bound", lambda d: thing(d)["name"].update(maxLength=19)),
    "a text must be longer": ("tightened-bound", lambda d: thing(d)["name"].update(minLength=2)),
    "a list may be less long": ("tightened-bound", lambda d: thing(d)["parts"].update(maxItems=4)),
    "a number gets a bound": (
        "tightened-bound",
        lambda d: thing(d)["weight"]["anyOf"][0].update(maximum=1000),
    ),
    "a number of the query gets less": (
        "tightened-bound",
        lambda d: operation(d, "get")["parameters"][0]["schema"].update(maximum=2),
    ),
    "a text gets a pattern": ("tightened-bound", lambda d: thing(d)["name"].update(pattern="^a")),
    "a member that is sent changes its type": (
        "changed-type",
        lambda d: thing(d)["name"].update(type="boolean"),
    ),
    "an alternative is no longer taken": (
        "changed-type",
        lambda d: thing(d)["weight"]["anyOf"].pop(1),
    ),
    "a parameter is removed": (
        "removed-parameter",
        lambda d: operation(d, "get")["parameters"].pop(1),
    ),
    "a parameter must be sent": (
        "new-required-parameter",
        lambda d: operation(d, "get")["parameters"][0].update(required=True),
    ),
    "a new parameter must be sent": (
        "new-required-parameter",
        lambda d: operation(d, "get")["parameters"].append(
            {"name": "since", "in": "query", "required": True, "schema": {"type": "string"}}
        ),
    ),
    "a body must be sent": (
        "new-required-body",
        lambda d: operation(d, "post")["requestBody"].update(required=True),
    ),
    "a way in is removed": ("tightened-security", lambda d: operation(d, "post")["security"].pop()),
    "another scope is needed": (
        "tightened-security",
        lambda d: operation(d, "post")["security"][0]["key"].append("admin"),
    ),
    "everybody needs another scope": (
        "tightened-security",
        lambda d: d.update(security=[{"key": ["read", "write", "admin"]}]),
    ),
}
COMPATIBLE: dict[str, Change] = {
    "nothing": lambda d: None,
    "a route is added": lambda d: d["paths"].update({"/more": d["paths"]["/things"]}),
    "a method is added": lambda d: d["paths"]["/things/{id}"].update(delete={"responses": {}}),
    "the name in a path is another": lambda d: d["paths"].update(
        {"/things/{name}": d["paths"].pop("/things/{id}")}
    ),
    "an optional member is taken": lambda d: thing(d).update(colour={"type": "string"}),
    "a member is answered, too": lambda d: made(d).update(colour={"type": "string"}),
    "a member need no longer be sent": lambda d: schema(d, "Thing").pop("required"),
    "a text may be longer": lambda d: thing(d)["name"].update(maxLength=21),
    "a bound is gone": lambda d: thing(d)["name"].pop("minLength"),
    "a number of the query gets more": lambda d: operation(d, "get")["parameters"][0]["schema"].update(
        maximum=4
    ),
    "a value is taken, too": lambda d: thing(d)["kind"]["enum"].append("three"),
    "a value is no longer answered": lambda d: made(d)["state"]["enum"].pop(),
    "a number may be null": lambda d: thing(d)["weight"]["anyOf"].append({"type": "null"}),
    "an answer is no longer null": lambda d: made(d).update(size={"type": "integer"}),
    "an optional parameter is taken": lambda d: operation(d, "get")["parameters"].append(
        {"name": "since", "in": "query", "schema": {"type": "string"}}
    ),
    "a status is added": lambda d: operation(d, "get")["responses"].update({"503": {}}),
    "one scope less is needed": lambda d: d.update(security=[{"key": ["read"]}]),
    "another way in": lambda d: operation(d, "post")["security"].append({}),
    "other words": lambda d: operation(d, "get").update(description="In other words."),
}


@pytest.mark.parametrize("name", BREAKING)
def test_what_breaks_a_caller_is_found_and_named(name: str) -> None:
    kind, change = BREAKING[name]
    later = deepcopy(SMALL)
    change(later)
    found = breaking_changes(SMALL, later)
    assert {one.kind for one in found} == {kind}, [str(one) for one in found]


@pytest.mark.parametrize("name", COMPATIBLE)
def test_what_breaks_nobody_is_not_found(name: str) -> None:
    later = deepcopy(SMALL)
    COMPATIBLE[name](later)
    assert [str(one) for one in breaking_changes(SMALL, later)] == []


def test_a_change_within_one_of_several_alternatives_is_told_where_it_is() -> None:
    earlier = deepcopy(SMALL)
    earlier["components"]["schemas"]["Other"] = {
        "type": "object",
        "required": ["made", "also"],
        "properties": {"made": {"$ref": "#/components/schemas/Made"}, "also": {"type": "string"}},
    }
    parts = [{"$ref": "#/components/schemas/Page"}, {"$ref": "#/components/schemas/Other"}]
    answer = operation(earlier, "get")["responses"]["200"]["content"]["application/json"]
    answer["schema"] = {"anyOf": parts}
    later = deepcopy(earlier)
    made(later).pop("size")
    made(later)["id"].update(type="integer")
    found = breaking_changes(earlier, later)
    assert {one.place for one in found} == {"Made (answer)/size", "Made (answer)/id"}


def test_the_way_back_of_what_breaks_nobody_is_found_where_it_breaks() -> None:
    later = deepcopy(SMALL)
    COMPATIBLE["an optional member is taken"](later)
    assert [one.place for one in breaking_changes(later, SMALL)] == ["Thing (request)/colour"]


def test_the_command_tells_each_change_and_fails(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    document = orjson.loads(DESCRIPTION.read_bytes())
    later = deepcopy(document)
    del later["paths"]["/v1/previews"]
    later["components"]["schemas"]["AssessmentRequest"]["properties"]["episode"]["maxLength"] = 8
    file = tmp_path / "later.json"
    file.write_bytes(orjson.dumps(later))
    assert main(["compare-api", str(DESCRIPTION), str(file)]) == 1
    told = capsys.readouterr().out
    assert "/v1/previews: the route is gone (removed-route)" in told
    assert "AssessmentRequest (request)/episode: `maxLength` was 64 and is 8 (tightened-bound)" in told
    assert main(["compare-api", str(DESCRIPTION), str(DESCRIPTION)]) == 0
    assert capsys.readouterr().out == "nothing breaks a caller\n"


def test_a_file_that_is_no_json_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "bad.json"
    file.write_text("{", encoding="utf-8")
    assert main(["compare-api", str(file), str(DESCRIPTION)]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_the_description_breaks_no_caller_of_the_last_release() -> None:
    """Compared with the description under the newest tag that is called as a version."""
    tags = git("tag", "--list", "v[0-9]*", "--merged", "HEAD", "--sort=-version:refname")
    if tags is None or not tags.split():
        pytest.skip("nothing has been released: there is no tag called as a version, such as v1.0.0")
    released = git("show", f"{tags.split()[0]}:openapi/openapi.json")
    assert released is not None
    found = breaking_changes(orjson.loads(released), orjson.loads(DESCRIPTION.read_bytes()))
    assert [str(one) for one in found] == []


def git(*arguments: str) -> str | None:
    """What git says about the checkout; None where it says nothing."""
    try:
        done = subprocess.run(
            ["git", "-C", str(CHECKOUT), *arguments], capture_output=True, text=True, check=False
        )
    except FileNotFoundError:
        return None
    return done.stdout if done.returncode == 0 else None
