"""How the operations of the API are described: each answer with its schema, each problem with its types."""

from __future__ import annotations

from collections import defaultdict
from typing import Any, Final

from limbtier.api.problems import MEDIA_TYPE, PROBLEM_TYPES

Responses = dict[int | str, dict[str, Any]]
JSON: Final = "application/json"
NEEDS_TOKEN: Final = ("unauthorised", "insufficient-scope")
"""The problems of every operation that needs a token."""
# Any request can meet these, whatever it asks for.
_ALWAYS: Final = ("malformed-request", "internal-error")


def reference(name: str) -> dict[str, str]:
    """A reference to a schema of the description, by name."""
    return {"$ref": f"#/components/schemas/{name}"}


def answer(status: int, description: str, schema: str | None, media_type: str = JSON) -> Responses:
    """An answer that is no problem; without a schema it is text."""
    shape = reference(schema) if schema else {"type": "string", "maxLength": 1_000_000}
    return {status: {"description": description, "content": {media_type: {"schema": shape}}}}


def problems(*codes: str) -> Responses:
    """The problems that an operation can answer with, and those that any can."""
    titles: defaultdict[int, list[str]] = defaultdict(list)
    for code in (*codes, *_ALWAYS):
        kind = PROBLEM_TYPES[code]
        titles[kind.status].append(f"{kind.title} (`{kind.type}`).")
    found: Responses = {
        status: {
            "description": " ".join(titles[status]),
            "content": {MEDIA_TYPE: {"schema": reference("Problem")}},
        }
        for status in sorted(titles)
    }
    for status in found.keys() & {401, 403}:
        found[status]["headers"] = {
            "WWW-Authenticate": {
                "description": "What is needed, as RFC 6750 says it.",
                "required": True,
                "schema": {"type": "string", "pattern": "^Bearer ", "maxLength": 1000},
            }
        }
    return found


def path_parameter(name: str, description: str, schema: dict[str, Any]) -> dict[str, Any]:
    """A parameter in the path."""
    return {
        "name": name,
        "in": "path",
        "required": True,
        "description": description,
        "schema": {"type": "string", **schema},
    }
