"""What linters of API descriptions ask for, beside what `test_openapi` checks: each exception is here with
its reason.

The rules are those that follow from the OWASP API Security Top 10 of 2023 (2 authentication, 4 consumption of
resources, 8 misconfiguration) and from OpenAPI 3.1, section 4.8.10 (operations).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import orjson
import pytest

from limbtier.api.bearer import SECURITY_SCHEMES
from limbtier.domain.caller import SCOPES
from tests.api.service import CHECKOUT

OPEN_TO_ALL = {
    "/health/live": "whoever watches the process has no token",
    "/health/ready": "likewise; it says nothing about anybody",
    "/metrics": "likewise; it is to be reached from inside only, see README",
    "/openapi.json": "documentation",
    "/docs": "documentation",
    "/docs/integrators": "documentation",
    "/problems": "documentation",
    "/problems/{code}": "documentation: the type of every problem leads here",
}
ANSWERED_BY_ITSELF = {
    "/cds-services": "its tokens are those of another standard; every call has an audience of its own"
}
NO_LIMIT_OF_ITS_OWN = "how many requests a caller may make is for the proxy in front to say (429), see README"


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    found: dict[str, Any] = orjson.loads((CHECKOUT / "openapi" / "openapi.json").read_bytes())
    return found


def operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            yield path, method, operation


def test_every_operation_is_named_as_a_function_and_has_a_tag_that_is_explained(
    document: dict[str, Any],
) -> None:
    tags = {tag["name"] for tag in document["tags"] if tag["description"]}
    for path, _, operation in operations(document):
        assert re.fullmatch("[a-z]+([A-Z][a-zA-Z]*)+", operation["operationId"]), path
        assert len(operation["tags"]) == 1, path
        assert set(operation["tags"]) <= tags, path
        assert len(operation["summary"]) <= 120, path


def test_every_operation_needs_a_token_but_those_that_are_open_to_all(document: dict[str, Any]) -> None:
    for path, _, operation in operations(document):
        needed = operation.get("security", [])
        if path in OPEN_TO_ALL:
            assert not needed, path
            continue
        if any(path.startswith(start) for start in ANSWERED_BY_ITSELF):
            continue
        assert needed, path
        for one in needed:
            ((scheme, named),) = one.items()
            assert scheme in SECURITY_SCHEMES, path
            assert set(named) <= SCOPES, path
        assert {"401", "403"} <= set(operation["responses"]), path


def test_every_parameter_says_what_it_is_and_is_bounded(document: dict[str, Any]) -> None:
    for path, _, operation in operations(document):
        for parameter in operation.get("parameters", ()):
            assert parameter["description"], path
            schema = parameter["schema"]
            bounded = schema.keys() & {"maxLength", "enum", "pattern", "maximum", "const"}
            assert bounded or schema["type"] == "boolean", path
            if parameter["in"] == "path":
                assert parameter["required"], path


def test_only_documented_answers_are_told_and_none_speaks_of_a_limit(document: dict[str, Any]) -> None:
    for path, _, operation in operations(document):
        assert "default" not in operation["responses"], path
        assert "429" not in operation["responses"], NO_LIMIT_OF_ITS_OWN
        if "requestBody" in operation:
            assert {"413", "415", "422"} <= set(operation["responses"]), path
