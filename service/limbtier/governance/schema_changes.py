"""What breaks a caller between two schemas of the API: what is sent may only be taken more widely, what is
answered may only be told more narrowly.

A schema is read as OpenAPI 3.1 writes it (JSON Schema 2020-12), as far as the description of this service
goes; a keyword not listed here is not compared.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

Schema = Mapping[str, Any]
Sent = Literal["request", "answer"]
UPPER: Final = ("maximum", "exclusiveMaximum", "maxLength", "maxItems", "maxProperties")
LOWER: Final = ("minimum", "exclusiveMinimum", "minLength", "minItems", "minProperties")
_REFERENCE: Final = "#/components/schemas/"


@dataclass(frozen=True, slots=True)
class ApiChange:
    """One change that breaks a caller: what kind, where, and in words."""

    kind: str
    place: str
    words: str

    def __str__(self) -> str:
        return f"{self.place}: {self.words} ({self.kind})"


@dataclass(slots=True)
class SchemaComparison:
    """Compares the schemas of two descriptions, whose named schemas are given."""

    old: Mapping[str, Schema]
    new: Mapping[str, Schema]
    _compared: set[tuple[Sent, str, str]] = field(default_factory=set)
    _open: set[tuple[Sent, int, int]] = field(default_factory=set)

    def changes(self, old: Schema, new: Schema, sent: Sent, place: str) -> Iterator[ApiChange]:
        """What breaks a caller that sends, or is answered, what the old schema says."""
        if "$ref" in old and "$ref" in new:
            # What changed in a named schema is told once, wherever that is used.
            pair = (sent, old["$ref"], new["$ref"])
            if pair in self._compared:
                return
            self._compared.add(pair)
            place = f"{new['$ref'].removeprefix(_REFERENCE)} ({sent})"
        before, after = _alternatives(old, self.old), _alternatives(new, self.new)
        if len(before) == len(after) == 1:
            yield from self._one(before[0], after[0], sent, place)
        else:
            yield from self._several(before, after, sent, place)

    def _one(self, old: Schema, new: Schema, sent: Sent, place: str) -> Iterator[ApiChange]:
        pair = (sent, id(old), id(new))
        if pair in self._open:  # a schema within itself is compared once
            return
        self._open.add(pair)
        try:
            yield from self._plain(old, new, sent, place)
        finally:
            self._open.discard(pair)

    def _several(
        self, before: Sequence[Schema], after: Sequence[Schema], sent: Sent, place: str
    ) -> Iterator[ApiChange]:
        """Each alternative that may be sent must still be taken; each that is answered was known before."""
        wanted, known = (before, after) if sent == "request" else (after, before)
        for number, one in enumerate(wanted):
            found = [
                self._tried(*((one, other) if sent == "request" else (other, one)), sent, place)
                for other in known
            ]
            if not all(found):
                continue
            # Where none was added or removed, the one at the same place is the one that changed.
            closest = found[number] if len(wanted) == len(known) else min(found, key=len)
            if len(closest) == 1 or len(wanted) == len(known):
                yield from closest
            elif sent == "request":
                yield ApiChange("removed-alternative", place, f"{_shown(one)} is no longer taken")
            else:
                yield ApiChange("added-alternative", place, f"{_shown(one)} is answered, too")

    def _tried(self, old: Schema, new: Schema, sent: Sent, place: str) -> list[ApiChange]:
        """What would break; named schemas that are met on the way count as not yet compared."""
        before = set(self._compared)
        try:
            return list(self._one(old, new, sent, place))
        finally:
            self._compared = before

    def _plain(self, old: Schema, new: Schema, sent: Sent, place: str) -> Iterator[ApiChange]:
        changed = list(_type_changes(old, new, sent, place))
        if changed:
            yield from changed
            return
        yield from _value_changes(old, new, sent, place)
        if sent == "request":
            yield from _tightened(old, new, place)
        yield from self._members(old, new, sent, place)
        for name in ("items", "additionalProperties"):
            one, other = old.get(name), new.get(name)
            if isinstance(one, Mapping) and isinstance(other, Mapping):
                yield from self.changes(one, other, sent, f"{place}/{'*' if name != 'items' else '[]'}")
        for number, (one, other) in enumerate(
            zip(old.get("prefixItems", ()), new.get("prefixItems", ()), strict=False)
        ):
            yield from self.changes(one, other, sent, f"{place}/[{number}]")
        for one, other in zip(old.get("allOf", ()), new.get("allOf", ()), strict=False):
            yield from self.changes(one, other, sent, place)

    def _members(self, old: Schema, new: Schema, sent: Sent, place: str) -> Iterator[ApiChange]:
        before, after = old.get("properties", {}), new.get("properties", {})
        needed, needed_now = set(old.get("required", ())), set(new.get("required", ()))
        for name in sorted(before.keys() - after.keys()):
            where = f"{place}/{name}"
            if sent == "answer":
                yield ApiChange("removed-answer-member", where, "the member is no longer answered")
            elif new.get("additionalProperties") is False:
                yield ApiChange("removed-request-member", where, "the member is no longer taken")
        for name in sorted(needed_now - needed) if sent == "request" else ():
            yield ApiChange("new-required-member", f"{place}/{name}", "the member must now be sent")
        for name in sorted((needed - needed_now) & after.keys()) if sent == "answer" else ():
            yield ApiChange("optional-answer-member", f"{place}/{name}", "the member may now be left out")
        closed = new.get("additionalProperties") is False and old.get("additionalProperties") is not False
        if sent == "request" and closed:
            yield ApiChange("closed-object", place, "further members are no longer taken")
        for name in sorted(before.keys() & after.keys()):
            yield from self.changes(before[name], after[name], sent, f"{place}/{name}")


def _alternatives(schema: Schema, named: Mapping[str, Schema]) -> list[Schema]:
    """The schemas of which one holds, references followed."""
    reference = schema.get("$ref")
    if isinstance(reference, str):
        found = named.get(reference.removeprefix(_REFERENCE), {})
        return _alternatives(found, named)
    parts = schema.get("anyOf") or schema.get("oneOf")
    if not parts:
        return [schema]
    return [one for part in parts for one in _alternatives(part, named)]


def _types(schema: Schema) -> frozenset[str]:
    """The types that a schema takes; empty for any."""
    found = schema.get("type")
    types = {found} if isinstance(found, str) else set(found or ())
    return frozenset(types | {"integer"} if "number" in types else types)


def _type_changes(old: Schema, new: Schema, sent: Sent, place: str) -> Iterator[ApiChange]:
    before, after = _types(old), _types(new)
    wider, narrower = (after, before) if sent == "request" else (before, after)
    if wider and (not narrower or not narrower <= wider):
        words = f"the type was {_joined(before)} and is {_joined(after)}"
        yield ApiChange("changed-type", place, words)


def _joined(types: frozenset[str]) -> str:
    return " or ".join(sorted(types)) or "any"


def _value_changes(old: Schema, new: Schema, sent: Sent, place: str) -> Iterator[ApiChange]:
    before, after = _values(old), _values(new)
    if sent == "request" and after is not None:
        if before is None:
            yield ApiChange("removed-request-value", place, "only certain values are taken now")
        else:
            for value in [one for one in before if one not in after]:
                yield ApiChange("removed-request-value", place, f"the value {value!r} is no longer taken")
    if sent == "answer" and before is not None:
        if after is None:
            yield ApiChange("added-answer-value", place, "any value may be answered now")
        else:
            for value in [one for one in after if one not in before]:
                yield ApiChange("added-answer-value", place, f"the value {value!r} is answered, too")


def _values(schema: Schema) -> list[Any] | None:
    if "const" in schema:
        return [schema["const"]]
    return list(schema["enum"]) if "enum" in schema else None


def _tightened(old: Schema, new: Schema, place: str) -> Iterator[ApiChange]:
    for names, sign in ((UPPER, 1), (LOWER, -1)):
        for name in names:
            if name in new and (name not in old or sign * new[name] < sign * old[name]):
                was = f"was {old[name]}" if name in old else "was not bounded"
                yield ApiChange("tightened-bound", place, f"`{name}` {was} and is {new[name]}")
    for name in ("pattern", "format"):
        if name in new and new[name] != old.get(name):
            yield ApiChange("tightened-bound", place, f"`{name}` is another: {new[name]}")
    if new.get("uniqueItems") and not old.get("uniqueItems"):
        yield ApiChange("tightened-bound", place, "items may no longer be repeated")


def _shown(schema: Schema) -> str:
    values = _values(schema)
    if values is not None:
        return " or ".join(repr(value) for value in values[:5])
    return str(schema.get("title") or _joined(_types(schema)))
