"""JSON is read in one way only, and every fault is named at its place."""

from __future__ import annotations

import json
import math
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.foundation.strict_json import DEEPEST, NotJson, read_json

json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**12), 10**12)
    | st.text(alphabet=st.characters(codec="utf-8")),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(alphabet=st.characters(codec="utf-8")), inner)
    ),
    max_leaves=12,
)


def faults(text: bytes) -> list[tuple[str | None, str]]:
    with pytest.raises(NotJson) as caught:
        read_json(text)
    assert all(item.help for item in caught.value.diagnostics)
    return [(item.pointer, item.message) for item in caught.value.diagnostics]


@given(json_values)
def test_what_the_standard_library_writes_is_read_back_the_same(value: Any) -> None:
    assert read_json(json.dumps(value).encode()) == value


@given(st.binary(max_size=40))
def test_any_bytes_are_read_or_refused_and_never_anything_else(data: bytes) -> None:
    try:
        read_json(data)
    except NotJson as error:
        assert error.diagnostics  # noqa: PT017 - both ways out are good


def test_numbers_keep_the_value_written() -> None:
    assert read_json(b'{"ratio": 0.80, "pressure": 112}') == {"ratio": Decimal("0.80"), "pressure": 112}
    assert read_json(b"0.1") == Decimal("0.1")


@pytest.mark.parametrize("text", [b"NaN", b"Infinity", b"-Infinity", b'{"a": NaN}'])
def test_what_is_no_number_in_json_is_refused(text: bytes) -> None:
    assert math.isnan(json.loads("NaN"))  # the standard library alone would let it pass
    assert "is not a JSON number" in faults(text)[0][1]


def test_where_a_text_stops_being_json_is_told_also_after_a_key_that_stands_twice() -> None:
    assert faults(b'{"a": 1, "a": 2, "b": }') == [("", "The text stops being JSON at line 1, column 23.")]
    assert faults(b'{"a": 1, "a": NaN}') == [("", "NaN is not a JSON number.")]


def test_every_duplicate_key_is_named_at_its_place() -> None:
    text = b'{"person": {"diabetes": true, "diabetes": false}, "limbs": [{"a": 1, "a": 1}], "person": {}}'
    found = faults(text)
    assert ("/person", "The key `person` stands twice.") in found
    assert ("/limbs/0/a", "The key `a` stands twice.") in found


def test_a_key_that_needs_escaping_is_escaped_in_the_pointer() -> None:
    assert faults(b'{"a/b~c": {"d": 1, "d": 2}}')[0][0] == "/a~1b~0c/d"


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"{",
        b'{"a": 1,}',
        b"{'a': 1}",
        b"[1] [2]",
        b"\xef\xbb\xbf{}",
        b'"\x01"',
        b"01",
        b"+1",
        b"\xff\xfe",
        b'{"a": "\\ud800"}',
        b'{"\\ud800": 1}',
        b"1" * 5000,
    ],
)
def test_what_is_no_json_with_one_meaning_is_refused(text: bytes) -> None:
    assert faults(text)


def test_nesting_is_bounded_and_never_exhausts_the_stack() -> None:
    assert read_json(b"[" * DEEPEST + b"]" * DEEPEST)
    assert f"more than {DEEPEST} deep" in faults(b"[" * 50 + b"]" * 50)[0][1]
    assert f"more than {DEEPEST} deep" in faults(b"[" * 200_000)[0][1]
