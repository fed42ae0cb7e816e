"""The fingerprint of an edition."""

from __future__ import annotations

import hashlib
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from limbtier.rulesets.digest import digest, files_of

FILES = st.dictionaries(st.text("ab/.", min_size=1, max_size=4), st.binary(max_size=6), max_size=4)


def test_the_digest_by_its_definition() -> None:
    text = b"\0\0\0\0\0\0\0\x01a" + b"\0\0\0\0\0\0\0\x02xy" + b"\0\0\0\0\0\0\0\x03b/c" + b"\0\0\0\0\0\0\0\0"
    assert digest({"b/c": b"", "a": b"xy"}) == "sha256:" + hashlib.sha256(text).hexdigest()


@given(FILES, FILES)
def test_two_sets_of_files_have_the_same_digest_only_when_they_are_the_same(
    one: dict[str, bytes], other: dict[str, bytes]
) -> None:
    assert (digest(one) == digest(other)) == (one == other)


@given(FILES)
def test_the_order_of_files_does_not_matter(files: dict[str, bytes]) -> None:
    assert digest(dict(reversed(files.items()))) == digest(files)


def test_hidden_files_and_copies_of_editors_are_no_part_of_an_edition(tmp_path: Path) -> None:
    for name in (
        "b.yaml",
        "rules/a.yaml",
        ".hidden",
        "rules/.a.yaml.swp",
        "b.yaml~",
        "#b.yaml#",
        ".git/config",
    ):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")
    assert list(files_of(tmp_path)) == ["b.yaml", "rules/a.yaml"]
