"""Canonical JSON against the vectors of the RFC's author, and the fast reading against the library.

Source: cyberphone/json-canonicalization at commit 19d51d7 (Apache-2.0), `testdata/`: six pairs, and the first
10,000 lines of the number test file, whose SHA-256 is the published one.
"""

from __future__ import annotations

import json
import struct
from hashlib import sha256
from pathlib import Path
from typing import Any

import orjson
import pytest
import rfc8785
from hypothesis import example, given
from hypothesis import strategies as st

from limbtier.foundation.canonical_json import (
    MOST_INTEGER,
    NotCanonical,
    canonical,
    is_canonical,
    read_canonical,
)

FOLDER = Path("standards") / "jcs-rfc8785" / "testdata"
texts = st.text(alphabet=st.characters(codec="utf-8"), max_size=12)
names = st.text(alphabet=st.characters(codec="ascii"), max_size=6)
whole = st.integers(-MOST_INTEGER, MOST_INTEGER)


def nested(scalars: st.SearchStrategy[Any], members: st.SearchStrategy[str]) -> st.SearchStrategy[Any]:
    return st.recursive(
        scalars, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(members, inner), max_leaves=10
    )


profile = nested(st.none() | st.booleans() | whole | texts, names)
beyond = nested(
    st.none()
    | st.booleans()
    | st.integers(-(2**70), 2**70)
    | texts
    | st.floats(allow_nan=False, allow_infinity=False),
    texts,
)


def in_profile(value: Any) -> bool:
    if isinstance(value, dict):
        return all(name.isascii() for name in value) and all(map(in_profile, value.values()))
    if isinstance(value, list):
        return all(map(in_profile, value))
    return not isinstance(value, float) and not (type(value) is int and abs(value) > MOST_INTEGER)


# Outside sources.


def test_the_pairs_of_the_author_of_the_standard_come_out_byte_for_byte(shared_data: Path) -> None:
    inputs = sorted((shared_data / FOLDER / "input").glob("*.json"))
    assert len(inputs) == 6
    for path in inputs:
        wanted = (shared_data / FOLDER / "output" / path.name).read_bytes()
        assert canonical(json.loads(path.read_text(encoding="utf-8"))) == wanted.removesuffix(b"\n")


def test_ten_thousand_numbers_come_out_as_published(shared_data: Path) -> None:
    data = (shared_data / FOLDER / "es6testfile-first-10000.txt").read_bytes()
    assert sha256(data).hexdigest().startswith("b9f7a8e7")
    lines = data.decode("ascii").splitlines()
    differing = [
        line
        for line in lines
        if canonical(struct.unpack(">d", bytes.fromhex(line.split(",")[0].zfill(16)))[0]).decode()
        != line.split(",")[1]
    ]
    assert len(lines) == 10_000
    assert differing == []


# The fast reading and the library.


@given(profile)
def test_the_canonical_form_of_any_value_of_the_profile_is_read_back(value: Any) -> None:
    data = canonical(value)
    assert is_canonical(data)
    assert read_canonical(data) == value
    assert orjson.dumps(value, option=orjson.OPT_SORT_KEYS) == data


@given(beyond)
@example(1.0)
@example([1e30])
@example({"é": 1})
@example({"text": ":1.5"})
@example({"a\\": 1.5})
@example(2**53)
@example({"\ufb33": 1, "\U00010000": 2})  # sorted differently by code points and by UTF-16
def test_canonical_bytes_are_accepted_exactly_when_their_value_is_in_the_profile(value: Any) -> None:
    try:
        data = rfc8785.dumps(value)
    except rfc8785.IntegerDomainError:
        data = json.dumps(value, separators=(",", ":"), ensure_ascii=False, sort_keys=True).encode()
    assert is_canonical(data) == in_profile(json.loads(data))  # 1.0 is written, and read, as 1


@given(profile, st.data())
def test_a_change_of_one_byte_is_canonical_only_when_the_library_says_so(
    value: Any, data: st.DataObject
) -> None:
    changed = bytearray(canonical(value))
    changed[data.draw(st.integers(0, len(changed) - 1))] = data.draw(st.integers(0, 255))
    try:
        read = json.loads(changed.decode("utf-8"))
        same = rfc8785.dumps(read) == bytes(changed) and in_profile(read)
    except ValueError:
        same = False
    assert is_canonical(bytes(changed)) == same


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b" ",
        b'{"b":1,"a":2}',
        b'{"a": 1}',
        b'{"a":1}\n',
        b'{"a":1,"a":1}',
        b'{"a":1.5}',
        b'{"a":1.0}',
        b'{"a":-0}',
        b'{"a":1e2}',
        b'{"a":9007199254740992}',
        b'{"a":18446744073709551616}',
        b'{"a":"\\u00e9"}',
        b'{"a":"\\/"}',
        b'{"a":"\\ud800"}',
        b'{"a":"\xed\xa0\x80"}',
        b'{"a":"\xff"}',
        b'{"a":NaN}',
        b'\xef\xbb\xbf{"a":1}',
        b'{"a":1}\x00',
        b"[" * 300 + b"]" * 300,
        b"[" * 100_000 + b"]" * 100_000,
    ],
)
def test_bytes_of_another_form_are_refused(data: bytes) -> None:
    with pytest.raises(NotCanonical) as caught:
        read_canonical(data)
    assert all(one.code == "not-canonical" and one.help for one in caught.value.diagnostics)
    assert not is_canonical(data)


def too_deep() -> Any:
    value: list[Any] = []
    for _ in range(100_000):
        value = [value]
    return value


@pytest.mark.parametrize("value", [2**53, float("nan"), float("inf"), "\ud800", {1: 2}, b"x", object()])
def test_values_without_a_canonical_form_are_refused(value: Any) -> None:
    with pytest.raises(NotCanonical):
        canonical(value)


def test_a_value_nested_without_end_is_refused() -> None:
    with pytest.raises(NotCanonical, match="too deeply"):
        canonical(too_deep())
