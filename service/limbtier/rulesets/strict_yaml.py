"""YAML read strictly: bytes to a tree of nodes with their places, every scalar still text.

Only the parser of the YAML library is used; no value is ever constructed and nothing is typed by its looks.
Refused are tags, anchors, aliases (never expanded), several documents, duplicate keys, keys that are no
single words, tabs, control characters, nesting beyond what any rule file needs, and large files.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final

import yaml

from limbtier.rulesets.findings import Findings, Place
from limbtier.rulesets.nodes import BrokenNode, ListNode, MappingNode, Node, ScalarNode, shown

LARGEST_BYTES: Final = 1_000_000
DEEPEST: Final = 20
# The parser in C where it is built in: the same events, about seven times as fast.
_PARSER: Final[Any] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_TAKEN_OUT: Final = "\ufffd"
# Control characters, marks that make text run in another direction than it is read, and what stands for
# characters that were lost.
_UNSEEN: Final = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufffd-\uffff]"
)


class _Stop(Exception):
    """The rest of the file cannot be read."""


def compose(data: bytes, file: str, found: Findings) -> Node | None:
    """The tree of one file, or None when it cannot be read as a whole; what is wrong goes to `found`."""
    if len(data) > LARGEST_BYTES:
        found.add_file(
            "file-too-large",
            file,
            f"The file is larger than {LARGEST_BYTES:,} bytes.",
            "Split it into several files.",
        )
        return None
    text = _decoded(data, file, found)
    if text is None:
        return None
    cleaned, readable = _cleaned(text, file, found)
    if not readable:
        return None
    try:
        return _Composer(file, found, cleaned != text).document(_events(cleaned))
    except yaml.MarkedYAMLError as error:
        if cleaned == text:
            _not_yaml(error, file, found)
    except yaml.YAMLError:
        place = Place(file, 1, 1)
        found.add("not-yaml", place, "The file is not YAML.", "Write it anew from a file that loads.")
    except _Stop:
        pass
    return None


def _decoded(data: bytes, file: str, found: Findings) -> str | None:
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8")
        found.add(
            "not-utf-8",
            _place_after(before, file),
            f"Byte {error.start + 1} of the file is not UTF-8 text.",
            "Save the file as UTF-8.",
        )
        return None
    if text.startswith("\ufeff"):
        place = Place(file, 1, 1)
        found.add(
            "byte-order-mark",
            place,
            "The file begins with a byte order mark.",
            "Save it as UTF-8 without one.",
        )
        text = text.removeprefix("\ufeff")
    return text


def _place_after(before: str, file: str) -> Place:
    return Place(file, before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1)


def _cleaned(text: str, file: str, found: Findings) -> tuple[str, bool]:
    """The text without the characters that are refused, others in their place, and whether its structure can
    be trusted."""
    if "\t" not in text and not _UNSEEN.search(text.replace("\r\n", "\n")):
        return text, True
    readable = True
    lines = text.split("\n")
    for number, line in enumerate(lines, start=1):
        if "\t" in line:
            column = line.index("\t") + 1
            found.add("tab-character", Place(file, number, column), "Here is a tab.", "Use blanks.")
            readable = readable and line[: column - 1].strip(" ") != ""
            line = line.replace("\t", " ")  # noqa: PLW2901 - the cleaned line
        body = line.removesuffix("\r")
        if unseen := _UNSEEN.search(body):
            found.add(
                "control-character",
                Place(file, number, unseen.start() + 1),
                *_cannot_stand(unseen.group()),
            )
            body = _UNSEEN.sub(_TAKEN_OUT, body)
        lines[number - 1] = body
    return "\n".join(lines), readable


def _cannot_stand(letter: str) -> tuple[str, str]:
    """Message and advice for a character that is refused."""
    return f"The character U+{ord(letter):04X} cannot be seen, or was lost.", "Take it out."


def _events(text: str) -> Iterator[Any]:
    parser = _PARSER(text.encode("utf-8"))
    try:
        while parser.check_event():
            yield parser.get_event()
    finally:
        parser.dispose()


class _Composer:
    """Builds nodes from the events of the parser. Recursion is bounded by DEEPEST."""

    def __init__(self, file: str, found: Findings, cleaned: bool) -> None:
        self._file = file
        self._found = found
        self._cleaned = cleaned

    def document(self, events: Iterator[Any]) -> Node | None:
        root: Node | None = None
        documents = 0
        for event in events:
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    self._found.add(
                        "several-documents",
                        self._place(event),
                        "A second document begins here.",
                        "Take out the line `---` or make a second file.",
                    )
                    return root
                root = self._node(next(events), events, 1)
        if root is None or (isinstance(root, ScalarNode) and root.empty):
            place = Place(self._file, 1, 1)
            self._found.add("empty-file", place, "The file holds nothing.", "Fill it or take it away.")
            return None
        return root

    def _place(self, event: Any) -> Place:
        return Place(self._file, event.start_mark.line + 1, event.start_mark.column + 1)

    def _node(self, event: Any, events: Iterator[Any], depth: int) -> Node:
        place = self._place(event)
        if depth > DEEPEST:
            _too_deep(place, self._found)
            raise _Stop
        if isinstance(event, yaml.AliasEvent):
            self._found.add(
                "yaml-alias",
                place,
                f"`*{shown(event.anchor or '')}` stands for text written elsewhere.",
                "Write the text out here.",
            )
            return BrokenNode(place)
        tagged = self._refuse_marks(event, place)
        node: Node
        match event:
            case yaml.ScalarEvent():
                node = self._scalar(event, place)
            case yaml.SequenceStartEvent():
                items: list[Node] = []
                while not isinstance(entry := next(events), yaml.SequenceEndEvent):
                    items.append(self._node(entry, events, depth + 1))
                node = ListNode(tuple(items), place)
            case _:
                node = self._mapping(events, place, depth)
        return BrokenNode(place) if tagged else node

    def _scalar(self, event: Any, place: Place) -> Node:
        if unseen := _UNSEEN.search(event.value):
            if not (self._cleaned and unseen.group() == _TAKEN_OUT):
                self._found.add("control-character", place, *_cannot_stand(unseen.group()))
            return BrokenNode(place)
        return ScalarNode(event.value, event.style is None or event.style == "", place)

    def _mapping(self, events: Iterator[Any], place: Place, depth: int) -> MappingNode:
        entries: dict[str, tuple[ScalarNode, Node]] = {}
        whole = True
        while not isinstance(event := next(events), yaml.MappingEndEvent):
            key = self._node(event, events, depth + 1)
            value = self._node(next(events), events, depth + 1)
            if isinstance(key, ScalarNode):
                if key.text not in entries:
                    entries[key.text] = (key, value)
                    continue
                first = entries[key.text][0].place
                self._found.add(
                    "duplicate-key",
                    key.place,
                    f"The key `{shown(key.text)}` stands here again; it is first in line {first.line}, "
                    f"column {first.column}.",
                    "Keep one of the two.",
                )
            elif not isinstance(key, BrokenNode):
                self._found.add(
                    "key-not-a-word", key.place, "A key must be a single word.", "Write `name: value`."
                )
            whole = False
        return MappingNode(tuple(entries.values()), place, whole)

    def _refuse_marks(self, event: Any, place: Place) -> bool:
        """Names an anchor and a type mark; whether there is a type mark."""
        if event.anchor is not None:
            self._found.add(
                "yaml-anchor",
                place,
                f"`&{shown(event.anchor)}` names this text for use elsewhere.",
                "Take the mark out; write text out wherever it is needed.",
            )
        if event.tag is not None:
            mark = "!" if event.tag == "!" else event.tag.replace("tag:yaml.org,2002:", "!!")
            self._found.add(
                "yaml-tag",
                place,
                f"`{shown(mark)}` is a type mark.",
                "Take it out; the kind of a value is known.",
            )
        return event.tag is not None


def _too_deep(place: Place, found: Findings) -> None:
    message = f"This is nested more than {DEEPEST} deep."
    found.add("nested-too-deep", place, message, "Write it with fewer levels.")


# What the parser says, in plain words, and what usually caused it. The first part found in its text counts.
_PLAIN: Final = (
    (
        "mapping values are not allowed",
        "A `: ` stands where no key can be.",
        "Put text that holds `: ` in quotes; check that the lines above begin in the right column.",
    ),
    (
        "unexpected end of stream",
        "A quotation mark is opened and never closed.",
        "Close it; write '' for an apostrophe inside single quotes.",
    ),
    (
        "',' or '",
        "A list or mapping in brackets is not closed, or a comma is missing.",
        "Close the bracket; put commas between entries, and text that holds commas in quotes.",
    ),
    (
        "cannot start any token",
        "Text cannot begin with this character.",
        "Put the text in quotes.",
    ),
    (
        "sequence entries are not allowed",
        "A list entry `- ` stands where none can be.",
        "Begin the list on the next line, indented.",
    ),
    (
        "escape character",
        "A backslash inside double quotes is followed by something that has no meaning.",
        "Use single quotes, or write two backslashes.",
    ),
    (
        "block",
        "This does not fit what stands before it.",
        "Check the column in which the line begins, and the quotes, brackets and apostrophes before it.",
    ),
)


def _not_yaml(error: yaml.MarkedYAMLError, file: str, found: Findings) -> None:
    said = f"{error.problem or ''} {error.context or ''}"
    mark = error.problem_mark or error.context_mark
    place = Place(file, mark.line + 1, mark.column + 1) if mark is not None else Place(file, 1, 1)
    if "nesting depth" in said:
        _too_deep(place, found)
        return
    for part, message, advice in _PLAIN:
        if part in said:
            found.add("not-yaml", place, message, advice)
            return
    found.add("not-yaml", place, "The text stops being YAML here.", "Check quotes, brackets and indentation.")
