"""What breaks callers between two descriptions of the API (OpenAPI 3.1): operations, what they take and
answer, and who may use them. A new route, an optional member or a wider bound breaks nobody."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

from limbtier.governance.schema_changes import ApiChange, SchemaComparison

Document = Mapping[str, Any]
METHODS: Final = ("get", "put", "post", "delete", "options", "head", "patch", "trace")


def breaking_changes(old: Document, new: Document) -> list[ApiChange]:
    """Every change found, in the order of the old description. What is described nowhere is not compared."""
    return list(_Comparison(old, new).changes())


class _Comparison:
    def __init__(self, old: Document, new: Document) -> None:
        self._old, self._new = old, new
        self._schemas = SchemaComparison(_named(old, "schemas"), _named(new, "schemas"))

    def changes(self) -> Iterator[ApiChange]:
        after = {_shape(path): item for path, item in self._new.get("paths", {}).items()}
        for path, item in self._old.get("paths", {}).items():
            now = after.get(_shape(path))
            if now is None:
                yield ApiChange("removed-route", path, "the route is gone")
                continue
            for method in METHODS:
                if method not in item:
                    continue
                place = f"{method.upper()} {path}"
                if method not in now:
                    yield ApiChange("removed-method", place, "the method is gone")
                    continue
                yield from self._operation(item, now, method, place)

    def _operation(self, item: Document, now: Document, method: str, place: str) -> Iterator[ApiChange]:
        old, new = item[method], now[method]
        yield from self._security(old, new, place)
        yield from self._parameters(
            self._parameters_of(self._old, item, old), self._parameters_of(self._new, now, new), place
        )
        yield from self._body(old.get("requestBody"), new.get("requestBody"), place)
        for status, answer in old.get("responses", {}).items():
            where = f"{place} {status}"
            if status not in new.get("responses", {}):
                yield ApiChange("removed-status", where, "the status is no longer answered")
                continue
            other = new["responses"][status]
            yield from self._content(answer, other, "answer", where)
            for name, header in answer.get("headers", {}).items():
                if header.get("required") and not other.get("headers", {}).get(name, {}).get("required"):
                    yield ApiChange("removed-header", where, f"the header {name} is no longer sure")

    def _security(self, old: Document, new: Document, place: str) -> Iterator[ApiChange]:
        before = old.get("security", self._old.get("security", [])) or [{}]
        after = new.get("security", self._new.get("security", [])) or [{}]
        for one in before:
            if not any(_suffices(one, other) for other in after):
                yield ApiChange("tightened-security", place, f"{_credentials(one)} is no longer enough")

    def _parameters_of(
        self, document: Document, item: Document, operation: Document
    ) -> dict[tuple[str, str], Document]:
        known = _named(document, "parameters")
        found: dict[tuple[str, str], Document] = {}
        for entry in (*item.get("parameters", ()), *operation.get("parameters", ())):
            one = known.get(entry["$ref"].rsplit("/", 1)[1], {}) if "$ref" in entry else entry
            # What a parameter of the path is called is nothing that a caller sends.
            name = (
                str(len(found))
                if one["in"] == "path"
                else one["name"].lower()
                if one["in"] == "header"
                else one["name"]
            )
            found[one["in"], name] = one
        return found

    def _parameters(
        self,
        before: Mapping[tuple[str, str], Document],
        after: Mapping[tuple[str, str], Document],
        place: str,
    ) -> Iterator[ApiChange]:
        for key, one in before.items():
            where = f"{place} {one['name']}"
            other = after.get(key)
            if other is None:
                yield ApiChange("removed-parameter", where, "the parameter is no longer taken")
                continue
            if other.get("required") and not one.get("required"):
                yield ApiChange("new-required-parameter", where, "the parameter must now be sent")
            yield from self._schemas.changes(one.get("schema", {}), other.get("schema", {}), "request", where)
        for key, other in after.items():
            if key not in before and other.get("required") and key[0] != "path":
                words = "the parameter must now be sent"
                yield ApiChange("new-required-parameter", f"{place} {other['name']}", words)

    def _body(self, old: Document | None, new: Document | None, place: str) -> Iterator[ApiChange]:
        where = f"{place} body"
        if old is None:
            if new is not None and new.get("required"):
                yield ApiChange("new-required-body", where, "a body must now be sent")
            return
        if new is None:
            yield ApiChange("removed-body", where, "a body is no longer taken")
            return
        if new.get("required") and not old.get("required"):
            yield ApiChange("new-required-body", where, "a body must now be sent")
        yield from self._content(old, new, "request", where)

    def _content(self, old: Document, new: Document, sent: Any, place: str) -> Iterator[ApiChange]:
        after = new.get("content", {})
        for media, content in old.get("content", {}).items():
            if media not in after:
                yield ApiChange("removed-media-type", place, f"{media} is gone")
                continue
            yield from self._schemas.changes(
                content.get("schema", {}), after[media].get("schema", {}), sent, place
            )


def _named(document: Document, kind: str) -> Mapping[str, Any]:
    found: Mapping[str, Any] = document.get("components", {}).get(kind, {})
    return found


def _shape(path: str) -> str:
    """A path without the names of its parameters."""
    return re.sub(r"\{[^}]*\}", "{}", path)


def _suffices(held: Mapping[str, Any], needed: Mapping[str, Any]) -> bool:
    """Whether the credentials of one requirement are enough for another."""
    return all(name in held and set(scopes) <= set(held[name]) for name, scopes in needed.items())


def _credentials(requirement: Mapping[str, Any]) -> str:
    if not requirement:
        return "no credential"
    return " and ".join(
        f"{name} ({', '.join(scopes)})" if scopes else name for name, scopes in requirement.items()
    )
