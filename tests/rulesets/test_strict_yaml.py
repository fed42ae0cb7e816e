"""YAML becomes text with places, and nothing else."""

from __future__ import annotations

import pytest

from limbtier.rulesets.findings import Findings, Place
from limbtier.rulesets.nodes import ListNode, MappingNode, Node, ScalarNode
from limbtier.rulesets.strict_yaml import compose


def read(text: str) -> tuple[Node | None, list[str]]:
    found = Findings()
    return compose(text.encode(), "file.yaml", found), [entry.code for entry in found.sorted()]


def value_of(text: str) -> ScalarNode:
    root, codes = read(f"key: {text}\n")
    assert codes == []
    assert isinstance(root, MappingNode)
    value = root.entries[0][1]
    assert isinstance(value, ScalarNode)
    return value


# By their looks a YAML 1.1 reader makes these a boolean, 1.1, 83, 750, 1000, a date, nothing, and so on
# (source: the tag repository of YAML 1.1, yaml.org/type; what PyYAML 6.0.4 does was tried).
@pytest.mark.parametrize(
    "text",
    ["no", "on", "1.10", "0123", "12:30", "1_000", "2026-01-31", "~", ".inf", "0x1F", "1e3", "<<", "="],
)
def test_nothing_is_typed_by_its_looks(text: str) -> None:
    assert value_of(text).text == text


def test_places_count_characters_from_one() -> None:
    root, _ = read("a: {b: é x, c: [d]}\n# note\ne:\n  - f\n")
    assert isinstance(root, MappingNode)
    (_, first), (_, second) = root.entries
    assert isinstance(first, MappingNode)
    assert [key.place for key, _ in first.entries] == [Place("file.yaml", 1, 5), Place("file.yaml", 1, 13)]
    assert isinstance(second, ListNode)
    assert second.items[0].place == Place("file.yaml", 4, 5)


def test_windows_line_ends_are_line_ends() -> None:
    root, codes = read("a: b\r\nc: d\r\n")
    assert codes == []
    assert isinstance(root, MappingNode)
    assert [(key.text, key.place.line) for key, _ in root.entries] == [("a", 1), ("c", 2)]


def test_a_quoted_empty_text_and_an_absent_one_are_empty_but_a_quoted_tilde_is_not() -> None:
    assert [value_of(text).empty for text in ("", '""', "~", "null", "'~'")] == [
        True,
        True,
        True,
        True,
        False,
    ]


def test_of_a_key_that_stands_twice_the_first_counts() -> None:
    root, codes = read("a: 1\nb: 2\na: 3\n")
    assert codes == ["duplicate-key"]
    assert isinstance(root, MappingNode)
    assert [(key.text, isinstance(value, ScalarNode) and value.text) for key, value in root.entries] == [
        ("a", "1"),
        ("b", "2"),
    ]
    assert not root.whole


def test_aliases_within_aliases_stay_as_small_as_they_are_written() -> None:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 12)]
    root, codes = read("\n".join(lines))
    assert codes.count("yaml-alias") == 110
    assert codes.count("yaml-anchor") == 12
    assert isinstance(root, MappingNode)
    assert len(root.entries) == 12


@pytest.mark.parametrize("opening", ["[", "{a: ", "- "])
def test_nesting_without_end_is_refused_and_not_followed(opening: str) -> None:
    root, codes = read(opening * 100_000)
    assert root is None
    assert codes == ["nested-too-deep"]


def test_a_file_of_the_largest_size_is_read_and_one_byte_more_is_not() -> None:
    text = "a: b\n#".ljust(1_000_000, "#")
    assert read(text)[1] == []
    assert read(text + "#")[1] == ["file-too-large"]
