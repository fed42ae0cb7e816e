"""The tree of a rule file: text, lists and mappings, each with its place; nothing is typed yet."""

from __future__ import annotations

from dataclasses import dataclass

from limbtier.rulesets.findings import Place


@dataclass(frozen=True, slots=True)
class ScalarNode:
    """One piece of text, without quotes; `plain` when it was written without them."""

    text: str
    plain: bool
    place: Place

    @property
    def empty(self) -> bool:
        """Whether nothing is written there."""
        return self.text.strip() == "" or (self.plain and self.text in ("~", "null", "Null", "NULL"))


@dataclass(frozen=True, slots=True)
class ListNode:
    """A list."""

    items: tuple[Node, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class MappingNode:
    """Keys and values, each key once, in the order written. `whole` is False when an entry was refused."""

    entries: tuple[tuple[ScalarNode, Node], ...]
    place: Place
    whole: bool = True


@dataclass(frozen=True, slots=True)
class BrokenNode:
    """Something refused and already named; readers say no more about it."""

    place: Place


Node = ScalarNode | ListNode | MappingNode | BrokenNode


def shown(text: str) -> str:
    """Text of a file, short and printable, for a message."""
    printable = "".join(letter if letter.isprintable() else "?" for letter in text[:61])
    return printable if len(text) <= 60 else printable[:57] + "..."
