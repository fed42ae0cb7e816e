"""Where a named part of an edition stands: found in its files, and in those of the editions below it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final

from limbtier.domain.edition import Edition
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.rulesets.findings import Findings, Place
from limbtier.rulesets.nodes import ListNode, MappingNode, Node, ScalarNode
from limbtier.rulesets.read_checks import FoundPart
from limbtier.rulesets.strict_yaml import compose

# The bytes of a file relative to the rules folder; None where there is none.
ReadFile = Callable[[str], bytes | None]

_FILE_OF: Final[Mapping[FoundPart, str]] = {
    "arrangement": "arrangements.yaml",
    "disposition": "wording.yaml",
    "edition": "edition.yaml",
    "fact": "vocabulary.yaml",
    "input": "vocabulary.yaml",
    "lift": "vocabulary.yaml",
    "material": "materials.yaml",
    "setting": "edition.yaml",
    "source": "sources.yaml",
    "tier": "tiers.yaml",
    "wording": "wording.yaml",
}
# The lists of a file in which a part is given, where the file has several lists with names.
_LISTS: Final[Mapping[FoundPart, tuple[str, ...]]] = {
    "fact": ("facts",),
    "input": ("inputs",),
    "lift": ("lifts",),
}


class Places:
    """Looks up where parts stand. Files are read only when something is looked up in them."""

    def __init__(self, editions: Sequence[Edition], read: ReadFile) -> None:
        """`editions` are the one that is judged and those below it, nearest first."""
        self._folders = [f"{edition.name}/{edition.version}" for edition in editions]
        self._read = read
        self._trees: dict[str, Node | None] = {}

    def find(self, part: FoundPart, name: str) -> tuple[str, int | None]:
        """File and line of a part; the file alone where its line cannot be told."""
        file = _FILE_OF.get(part)
        if file is None:
            return self._folders[0], None
        for folder in self._folders:
            tree = self._tree(f"{folder}/{file}")
            place = _named(tree, part, name) if tree is not None else None
            if place is not None:
                return place.file, place.line
        return f"{self._folders[0]}/{file}", None

    def _tree(self, file: str) -> Node | None:
        if file not in self._trees:
            data = self._read(file)
            self._trees[file] = None if data is None else _composed(data, file)
        return self._trees[file]


def _composed(data: bytes, file: str) -> Node | None:
    try:
        return compose(data, file, Findings())
    except InvalidRuleFiles:  # it was loaded, so this is a file that has been changed since
        return None


def _named(tree: Node, part: FoundPart, name: str) -> Place | None:
    if not isinstance(tree, MappingNode):
        return None
    if part == "edition":
        return tree.place
    lists = _LISTS.get(part)
    for key, value in tree.entries:
        if part in ("setting", "wording", "disposition"):
            if found := _key(key, value, name):
                return found
        elif lists is None or key.text in lists:
            for entry in _entries(value):
                if found := _entry(entry, name):
                    return found
    return None


def _key(key: ScalarNode, value: Node, name: str) -> Place | None:
    """The place of a key of this name, here or one mapping deeper."""
    if key.text == name:
        return key.place
    if isinstance(value, MappingNode):
        return next((inner.place for inner, _ in value.entries if inner.text == name), None)
    return None


def _entries(value: Node) -> Iterator[MappingNode]:
    if isinstance(value, ListNode):
        yield from (item for item in value.items if isinstance(item, MappingNode))


def _entry(entry: MappingNode, name: str) -> Place | None:
    for key, value in entry.entries:
        if key.text in ("name", "id") and isinstance(value, ScalarNode) and value.text == name:
            return value.place
    return None
