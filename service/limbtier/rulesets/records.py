"""Shapes made of others: lists, mappings with fixed keys, mappings from names."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar, cast

from limbtier.foundation.diagnostics import did_you_mean
from limbtier.rulesets.findings import Findings, Place, Placed
from limbtier.rulesets.nodes import ListNode, MappingNode, Node, ScalarNode, shown
from limbtier.rulesets.shapes import Schema, Shape, choose, word_list, wrong_shape

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Key(Generic[T]):
    """One key of a mapping. `meaning` is shown by editors."""

    name: str
    shape: Shape[T]
    meaning: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class Fields:
    """A mapping as read. A key can be written and yet have no value: it was refused and named."""

    place: Place
    whole: bool
    written: frozenset[str]
    _values: Mapping[str, Any]

    def get(self, key: Key[T]) -> T | None:
        """The value, or None when the key is absent or was refused."""
        return cast("T | None", self._values.get(key.name))

    def wrote(self, key: Key[Any]) -> bool:
        """Whether the key is there, well written or not."""
        return key.name in self.written

    def place_of(self, key: Key[Any]) -> Place:
        """Where the value stands; the whole mapping's place without it."""
        value = self._values.get(key.name)
        return value.place if isinstance(value, Placed | Fields) else self.place


@dataclass(frozen=True, slots=True)
class Record:
    """A mapping with fixed keys; `what` names it in messages, with its article."""

    what: str
    keys: tuple[Key[Any], ...]

    def read(self, node: Node, label: str, found: Findings) -> Fields | None:
        """The fields. Unknown keys and missing ones are named; a misspelt key is not called missing too."""
        if not isinstance(node, MappingNode):
            wrong_shape(
                node, label, f"{self.what} with the keys {word_list(key.name for key in self.keys)}", found
            )
            return None
        known = {key.name: key for key in self.keys}
        values: dict[str, Any] = {}
        written = {key.text for key, _ in node.entries}
        whole = node.whole
        absent = [key.name for key in self.keys if key.name not in written]
        for key, value in node.entries:
            if key.text not in known:
                advice = did_you_mean(key.text[:60], absent, "") or choose(key.text, known)
                written.update(name for name in absent if advice == f"Did you mean `{name}`?")
                message = f"{self.what.capitalize()} has no key `{shown(key.text)}`."
                found.add("unknown-key", key.place, message, advice)
                whole = False
                continue
            read = known[key.text].shape.read(value, f"`{key.text}`", found)
            if read is not None:
                values[key.text] = read
            whole = whole and read is not None and getattr(read, "whole", True)
        for required in self.keys:
            if required.required and required.name not in written and node.whole:
                found.add(
                    "missing-key",
                    node.place,
                    f"{self.what.capitalize()} needs `{required.name}`.",
                    f"Add `{required.name}`: {required.meaning}.",
                )
                whole = False
        return Fields(node.place, whole, frozenset(written), values)

    def schema(self) -> Schema:
        """The keys with their shapes; no others."""
        return {
            "type": "object",
            "additionalProperties": False,
            "required": [key.name for key in self.keys if key.required],
            "properties": {key.name: {"description": key.meaning, **key.shape.schema()} for key in self.keys},
        }


@dataclass(frozen=True, slots=True)
class ListOf(Generic[T]):
    """A list of at least `least` entries of one shape; `or_one` lets a single value stand without a list."""

    shape: Shape[T]
    or_one: bool = False
    least: int = 1

    def read(self, node: Node, label: str, found: Findings) -> Placed[tuple[T, ...]] | None:
        """The entries that could be read; the list is not whole when one was refused."""
        if isinstance(node, ListNode):
            entries = node.items
            if len(entries) < self.least:
                few = "is an empty list" if not entries else f"has only {len(entries)} entry"
                advice = f"Give at least {'one' if self.least == 1 else self.least}."
                found.add("empty-list", node.place, f"{label} {few}.", advice)
                return None
        elif self.or_one:
            entries = (node,)
        else:
            wrong_shape(node, label, "a list", found)
            return None
        single = label if not isinstance(node, ListNode) else f"An entry of {label}"
        read = [self.shape.read(entry, single, found) for entry in entries]
        whole = all(entry is not None and getattr(entry, "whole", True) for entry in read)
        good = tuple(entry for entry in read if entry is not None)
        return Placed(good, node.place, whole, lost=len(good) < len(read))

    def schema(self) -> Schema:
        """A list, or also a single value."""
        several: Schema = {"type": "array", "items": self.shape.schema(), "minItems": self.least}
        return {"anyOf": [self.shape.schema(), several]} if self.or_one else several


@dataclass(frozen=True, slots=True)
class MapOf(Generic[T]):
    """A mapping from names to one shape."""

    name: Shape[Placed[str]]
    shape: Shape[T]

    def read(
        self, node: Node, label: str, found: Findings
    ) -> Placed[tuple[tuple[Placed[str], T | None], ...]] | None:
        """Names and values in the order written; None for a value that was refused."""
        if not isinstance(node, MappingNode):
            wrong_shape(node, label, "a mapping from names to values", found)
            return None
        pairs: list[tuple[Placed[str], T | None]] = []
        whole = node.whole
        for key, value in node.entries:
            name = self.name.read(key, f"A key of {label}", found)
            read = self.shape.read(value, f"`{shown(key.text)}`", found)
            whole = whole and name is not None and read is not None and getattr(read, "whole", True)
            if name is not None:
                pairs.append((name, read))
        return Placed(tuple(pairs), node.place, whole, lost=len(pairs) < len(node.entries) or not node.whole)

    def schema(self) -> Schema:
        """Any keys of the form of a name."""
        pattern = self.name.schema().get("pattern")
        names: Schema = {"propertyNames": {"pattern": pattern}} if pattern else {}
        return {"type": "object", "additionalProperties": self.shape.schema(), **names}


@dataclass(frozen=True, slots=True)
class AsWritten:
    """Kept as a node, to be read once the names of the edition are known."""

    described: Callable[[], Schema]

    def read(self, node: Node, _label: str, _found: Findings) -> Node | None:
        """The node itself; None when it was refused already."""
        return node if isinstance(node, ScalarNode | ListNode | MappingNode) else None

    def schema(self) -> Schema:
        """As described by whoever reads it."""
        return self.described()
