"""Whatever stands in the files, loading ends in an edition or in diagnostics, never in another error."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.rulesets.codes import CODES
from limbtier.rulesets.findings import Findings
from limbtier.rulesets.nodes import ListNode, MappingNode, Node, ScalarNode
from limbtier.rulesets.strict_yaml import compose
from tests.rulesets.small import load_local, load_small, local_files, small_files

# Every file of the small edition and of the one that is based on it.
FILES = {
    (edition, name): data
    for edition, files in (("small", small_files()), ("local", local_files()))
    for name, data in files.items()
}
NAMES = sorted(FILES)
PIECES = st.one_of(
    st.binary(max_size=12),
    st.sampled_from(
        [
            "\t",
            "&a ",
            "*a",
            "!!bool ",
            "---\n",
            "[",
            "]",
            "{",
            "}",
            ": ",
            "- ",
            "? ",
            "| ",
            "~",
            "'",
            '"',
            "#",
        ]
    ).map(str.encode),
    st.sampled_from(
        ["\u202e", "\ufffd", "yes", "not_done", "any_of", "2026-02-30", "9" * 30, "-0.0", "<<: "]
    ).map(str.encode),
)


def refusal(file: tuple[str, str], data: bytes) -> tuple[Diagnostic, ...]:
    """The diagnostics of an edition with other bytes in one file; none when it loads."""
    edition, name = file
    try:
        (load_small if edition == "small" else load_local)({name: data})
    except InvalidRuleFiles as refused:
        return refused.diagnostics or (Diagnostic("refused-without-a-reason", "", ""),)
    return ()


def assert_told(diagnostics: tuple[Diagnostic, ...]) -> None:
    for entry in diagnostics:
        assert entry.code in CODES
        assert entry.message
        assert entry.help
        assert entry.file is not None
        assert str(entry).replace("\n", "").isprintable()


@given(st.sampled_from(NAMES), st.binary(max_size=200))
@settings(max_examples=60)
def test_arbitrary_bytes_in_a_file(file: tuple[str, str], data: bytes) -> None:
    assert_told(refusal(file, data))


@given(st.data())
@settings(max_examples=100)
def test_arbitrary_changes_of_a_sound_file(data: st.DataObject) -> None:
    file = data.draw(st.sampled_from(NAMES))
    text = bytearray(FILES[file])
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, max(0, len(text) - 1)))
        match data.draw(st.sampled_from(["flip", "cut", "insert", "drop line", "repeat line"])):
            case "flip" if text:
                text[place] ^= 1 << data.draw(st.integers(0, 7))
            case "cut":
                del text[place : place + data.draw(st.integers(1, 40))]
            case "insert":
                text[place:place] = data.draw(PIECES)
            case change:
                lines = bytes(text).split(b"\n")
                line = data.draw(st.integers(0, len(lines) - 1))
                lines[line : line + 1] = [] if change == "drop line" else [lines[line]] * 2
                text = bytearray(b"\n".join(lines))
    assert_told(refusal(file, bytes(text)))


def _scalars(node: Node | None, key: bool = False) -> list[tuple[ScalarNode, bool]]:
    match node:
        case ScalarNode():
            return [(node, key)]
        case ListNode():
            return [found for item in node.items for found in _scalars(item)]
        case MappingNode():
            return [
                found for name, value in node.entries for found in (*_scalars(name, True), *_scalars(value))
            ]
        case _:
            return []


WRITTEN = [
    (file, node, key)
    for file in NAMES
    if file[1].endswith(".yaml")
    for node, key in _scalars(compose(FILES[file], file[1], Findings()))
    if node.plain and "\n" not in node.text
]
# Keys that give a name: misspelt, they are missed where the name is used.
NAMING = {"leaking_leg", "routine_referral", "dry_leg", "dry_leg_review"}


@given(st.sampled_from(WRITTEN))
@settings(max_examples=60)
def test_one_bad_value_is_named_once_where_it_stands_and_causes_nothing_else(
    written: tuple[tuple[str, str], ScalarNode, bool],
) -> None:
    file, node, key = written
    edition, name = file
    lines = FILES[file].decode().split("\n")
    line, start = lines[node.place.line - 1], node.place.column - 1
    if not line[start:].startswith(node.text):
        return  # a text over several lines
    given_by_key = name == "edition.yaml" and line.startswith("  ") and not line.startswith("   ")
    if key and (given_by_key or node.text in NAMING):
        return
    bad = node.text + node.text[-1] if key else "[]"
    lines[node.place.line - 1] = line[:start] + bad + line[start + len(node.text) :]
    diagnostics = refusal(file, "\n".join(lines).encode())
    places = [(entry.file, entry.line) for entry in diagnostics]
    assert places == [(f"{edition}/2026.1.0/{name}", node.place.line)], f"with {bad}: {diagnostics}"
