"""The header `Idempotency-Key` is read as the standard says, and nothing else is taken for one."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from fastapi import Request
from hypothesis import given
from hypothesis import strategies as st

from limbtier.api.errors import IdempotencyKeyMissing, MalformedRequest
from limbtier.api.idempotency_key import PARAMETER, parse_string, read_idempotency_key

UUID = "0b7a4f6e-6a0c-4a0e-9d0b-3f6d3c1f2a77"


def read(*values: bytes, required: bool = False) -> str | None:
    headers = [(b"accept", b"*/*"), *((b"idempotency-key", value) for value in values)]
    return read_idempotency_key(Request({"type": "http", "headers": headers}), required=required)


def refused(*values: bytes) -> str:
    with pytest.raises(MalformedRequest) as caught:
        read(*values)
    [finding] = caught.value.diagnostics
    assert finding.code == "bad-idempotency-key"
    assert 'Idempotency-Key: "' in finding.help
    return finding.message


# The official vectors of RFC 9651 (httpwg/structured-field-tests).


def vectors(folder: Path) -> list[dict[str, Any]]:
    """Every vector of an Item: strings, items, and all other types, of which none is a key."""
    names = ("string", "string-generated", "item", "token", "token-generated", "number", "boolean")
    more = ("binary", "date", "display-string", "examples", "number-generated", "param-dict", "param-list")
    found = [one for name in names + more for one in json.loads((folder / f"{name}.json").read_text())]
    return [one for one in found if one["header_type"] == "item"]


def test_a_value_is_read_exactly_when_the_vectors_say_it_is_a_string_without_parameters(
    shared_data: Path,
) -> None:
    folder = shared_data / "standards" / "structured-fields-rfc9651"
    strings = others = 0
    for one in vectors(folder):
        expected = one.get("expected")
        text = expected[0] if expected and isinstance(expected[0], str) and not expected[1] else None
        # RFC 9651, 4.2: lines of one field are joined by a comma and a space.
        found = parse_string(", ".join(one["raw"]).encode("utf-8"))
        if one.get("can_fail") and found is None:
            continue
        assert found == text, one["name"]
        strings += text is not None
        others += text is None
    assert strings > 80
    assert others > 500


def test_every_string_of_the_vectors_is_a_key_if_its_length_is_right(shared_data: Path) -> None:
    folder = shared_data / "standards" / "structured-fields-rfc9651"
    taken = 0
    for one in vectors(folder):
        values = [raw.encode("utf-8") for raw in one["raw"]]
        text = parse_string(values[0])
        if len(values) == 1 and text is not None and 0 < len(text) <= 255:
            assert read(*values) == text
            taken += 1
        else:
            assert refused(*values)
    assert taken > 80


# What this service makes of it.


def test_a_key_in_quotation_marks_is_taken_without_them() -> None:
    assert read(f'"{UUID}"'.encode()) == UUID
    assert read(b'"a \\"quoted\\" \\\\ key"') == 'a "quoted" \\ key'
    assert read(b'  "x"  ') == "x"


def test_without_a_key_there_is_none_unless_one_is_required() -> None:
    assert read() is None
    with pytest.raises(IdempotencyKeyMissing) as caught:
        read(required=True)
    assert [item.code for item in caught.value.diagnostics] == ["idempotency-key-missing"]
    assert read(b'"x"', required=True) == "x"


@pytest.mark.parametrize(
    "value",
    [
        b"",
        b" ",
        UUID.encode(),
        b"word",
        b"5",
        b"?1",
        b":YWJj:",
        b"'x'",
        b'"x',
        b'x"',
        b'"x"y',
        b'"x";a=1',
        b'"x";a',
        b'("x")',
        b'"x", "y"',
        b'"x\\y"',
        b'"x"y"',
        b'"\xc3\xa9"',
        b'"\x00"',
        b'"a\tb"',
        b'"a\r\nb"',
        b'\t"x"',
        b'%"x"',
    ],
    ids=repr,
)
def test_what_is_no_text_in_quotation_marks_is_refused(value: bytes) -> None:
    assert refused(value) == "The header Idempotency-Key is no text in quotation marks."


def test_a_header_that_stands_twice_is_refused_even_if_both_are_alike() -> None:
    assert refused(b'"x"', b'"x"') == "The header Idempotency-Key stands more than once."
    assert refused(b'"x"', b"") == "The header Idempotency-Key stands more than once."


def test_a_key_has_1_to_255_characters() -> None:
    assert read(b'"%s"' % (b"x" * 255)) == "x" * 255
    assert read(b'"%s"' % (b'\\"' * 255)) == '"' * 255
    assert refused(b'""') == "The key has 0 characters."
    assert refused(b'"%s"' % (b"x" * 256)) == "The key has 256 characters."
    assert refused(b'"%s"' % (b"x" * 1_000_000)) == "The key has 1000000 characters."


@given(text=st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), min_size=1, max_size=255))
def test_every_text_of_printable_ascii_can_be_a_key(text: str) -> None:
    written = '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
    assert read(written.encode()) == text


@given(value=st.binary(max_size=60) | st.text(max_size=60).map(lambda text: f'"{text}"'.encode()))
def test_the_description_says_exactly_which_values_are_taken(value: bytes) -> None:
    try:
        taken = read(value) is not None
    except MalformedRequest:
        taken = False
    check = jsonschema.Draft202012Validator(PARAMETER["schema"])
    sent = value.decode("latin-1").strip(" ")
    assert check.is_valid(sent) == taken or sent.endswith("\n")
