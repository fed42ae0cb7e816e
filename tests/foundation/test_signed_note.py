"""Signed notes and checkpoints against published vectors.

Sources: C2SP/C2SP at 5ba5ee8 (`signed-note.md`, BSD-1-Clause); golang/mod at fe2ec04 (`note_test.go`,
BSD-3-Clause): a signing vector with a public test key, and notes to open or refuse;
transparency-dev/formats at 0b850f1 (`checkpoint_test.go`, Apache-2.0).
"""

from __future__ import annotations

import base64
import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.foundation.signed_note import (
    Checkpoint,
    InvalidKey,
    InvalidNote,
    SigningKey,
    VerifierKey,
    open_note,
    read_verifier_key,
    sign,
)

# Made for these tests only; never a key of a service.
KEY = SigningKey("limbtier.invalid/test-only", sha256(b"test only").digest())
OTHER = SigningKey("limbtier.invalid/test-only", sha256(b"another, test only").digest())
TEXT = Checkpoint("limbtier.invalid/log", 7, sha256(b"seven").digest()).text()
NOTE = sign(TEXT, [KEY])


def vectors(shared_data: Path, name: str) -> Any:
    return json.loads((shared_data / "standards" / "c2sp" / name).read_text(encoding="utf-8"))


# Outside sources.


def test_the_note_of_the_specification_opens(shared_data: Path) -> None:
    example = vectors(shared_data, "signed-note-example.json")
    key = read_verifier_key(example["vkey"])
    assert open_note(example["note"], [key]).text == "This is an example message.\n"
    assert str(key) == example["vkey"]


def test_signing_gives_the_published_note_byte_for_byte(shared_data: Path) -> None:
    vector = vectors(shared_data, "signed-note-golang.json")["sign"]
    key = SigningKey.read(vector["skey"])
    assert sign(vector["text"], [key]) == vector["want"]
    assert key.secret_text() == vector["skey"]
    with pytest.raises(InvalidNote):
        sign(vector["bad_text"], [key])


def test_notes_open_or_are_refused_as_published(shared_data: Path) -> None:
    table = vectors(shared_data, "signed-note-golang.json")["open"]
    assert len(table) == 12
    for row in table:
        note = base64.b64decode(row["note_b64"]) if "note_b64" in row else row["note"]
        keys = [read_verifier_key(text) for text in row["vkeys"]]
        if row["valid"]:
            opened = open_note(note, keys)
            assert [key.name for key in opened.verified] == row["verified"], row["desc"]
            assert list(opened.unknown) == row["unverified"], row["desc"]
        else:
            with pytest.raises(InvalidNote):
                open_note(note, keys)


def test_checkpoints_are_written_as_published(shared_data: Path) -> None:
    for one in vectors(shared_data, "checkpoint-formats.json")["marshal"]:
        checkpoint = Checkpoint(one["origin"], one["size"], one["hash_utf8"].encode())
        assert checkpoint.text() == one["want"]


def test_checkpoints_are_read_or_refused_as_published(shared_data: Path) -> None:
    """The published ones have hashes of any length; here each must be of 32 bytes, so theirs is replaced."""
    table = vectors(shared_data, "checkpoint-formats.json")["unmarshal"]
    root = sha256(b"root").digest()
    for row in table:
        lines = row["m"].split("\n")
        if len(lines) > 2 and not row["desc"].startswith("roothash"):
            with pytest.raises(InvalidNote):
                Checkpoint.read(row["m"])
            lines[2] = base64.b64encode(root).decode()
        text = "\n".join(lines)
        # C2SP's text asks for non-empty further lines; the library of the vectors does not.
        if row.get("wantErr") or "trailing newlines" in row["desc"]:
            with pytest.raises(InvalidNote):
                Checkpoint.read(text)
        else:
            found = Checkpoint.read(text)
            assert (found.origin, found.size, found.root) == (row["origin"], row["size"], root)
            assert "".join(line + "\n" for line in found.extension) == row["rest"]
            assert found.text() == text
    assert len(table) == 12


# Notes of our own.


def test_a_note_that_was_signed_opens() -> None:
    opened = open_note(NOTE.encode(), [KEY.verifier])
    assert opened.verified == (KEY.verifier,)
    assert Checkpoint.read(opened.text).size == 7


def test_no_byte_of_a_note_can_be_changed() -> None:
    data = NOTE.encode()
    for place in range(len(data)):
        for change in (1, 2, 4, 8, 16, 32, 64, 128):
            changed = bytearray(data)
            changed[place] ^= change
            with pytest.raises(InvalidNote):
                open_note(bytes(changed), [KEY.verifier])


@given(st.binary(max_size=200))
def test_any_bytes_are_no_note_and_nothing_else_happens(data: bytes) -> None:
    with pytest.raises(InvalidNote):
        open_note(data, [KEY.verifier])


@given(st.text(max_size=80))
def test_any_text_is_a_checkpoint_or_is_refused(text: str) -> None:
    try:
        assert Checkpoint.read(text).text() == text
    except InvalidNote as error:
        assert all(one.help for one in error.diagnostics)  # noqa: PT017 - both ways out are good


@pytest.mark.parametrize("size", ["-1", "01", "+1", "1_0", " 1", "1e3", "٧", "9" * 31, str(2**64), ""])
def test_a_size_that_is_no_plain_number_is_refused(size: str) -> None:
    with pytest.raises(InvalidNote):
        Checkpoint.read(TEXT.replace("\n7\n", f"\n{size}\n"))


def test_the_largest_size_is_read() -> None:
    assert Checkpoint.read(TEXT.replace("\n7\n", f"\n{2**64 - 1}\n")).size == 2**64 - 1


def test_a_signature_of_another_key_of_the_same_name_does_not_open() -> None:
    with pytest.raises(InvalidNote, match="No known key"):
        open_note(NOTE, [OTHER.verifier])
    opened = open_note(sign(TEXT, [KEY, OTHER]), [OTHER.verifier])
    assert opened.verified == (OTHER.verifier,)
    assert opened.unknown == (KEY.name,)


def test_a_broken_signature_of_a_known_key_refuses_the_whole_note() -> None:
    broken = base64.b64encode(KEY.verifier.id + bytes(64)).decode()
    note = sign(TEXT, [OTHER]) + f"— {KEY.name} {broken}\n"
    assert open_note(note, [OTHER.verifier]).text == TEXT
    with pytest.raises(InvalidNote, match="does not hold"):
        open_note(note, [OTHER.verifier, KEY.verifier])


def test_a_huge_note_is_refused_unread() -> None:
    with pytest.raises(InvalidNote, match="at most 1000000 bytes"):
        open_note(b"a" * 1_000_001, [KEY.verifier])


def test_a_signing_key_goes_through_its_text_and_does_not_show_its_secret() -> None:
    key = SigningKey.generate("limbtier.invalid/log")
    assert SigningKey.read(key.secret_text()) == key
    assert SigningKey.generate("limbtier.invalid/log") != key
    assert repr(key) == "SigningKey(name='limbtier.invalid/log')"
    assert read_verifier_key(str(key.verifier)) == key.verifier


@pytest.mark.parametrize("name", ["", "a b", "a+b", "a\u00a0b", "a\nb", "a\x00b", "a\u2028b", "\ud800"])
def test_a_name_that_no_key_may_have_is_refused(name: str) -> None:
    with pytest.raises(InvalidKey):
        SigningKey.generate(name)
    with pytest.raises(InvalidKey):
        read_verifier_key(f"{name}+00000000+{base64.b64encode(bytes(33)).decode()}")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "name",
        "name+00000000",
        f"name+00000000+{base64.b64encode(b'x' * 33).decode()}",  # not Ed25519
        f"name+00000000+{base64.b64encode(bytes([1, *range(32)])).decode()}",  # not its id
        f"name+0000000G+{base64.b64encode(bytes([1, *range(32)])).decode()}",
        f"name+00000000+{base64.b64encode(bytes([1, *range(31)])).decode()}",
        "name+00000000+***",
    ],
)
def test_a_key_text_of_another_form_is_refused(text: str) -> None:
    for read in (read_verifier_key, lambda one: SigningKey.read("PRIVATE+KEY+" + one)):
        with pytest.raises(InvalidKey) as caught:
            read(text)
        assert all(one.help for one in caught.value.diagnostics)


def test_a_secret_key_must_be_marked_as_one() -> None:
    with pytest.raises(InvalidKey, match="begins with PRIVATE"):
        SigningKey.read(str(KEY.verifier))


def test_base64_has_one_form_only() -> None:
    line = NOTE.rstrip("\n").rsplit(" ", 1)[1]
    assert line.endswith("=")
    other = (
        line[:-2] + chr(ord(line[-2]) + 1) + "="
    )  # the same bytes; two bits of its last letter are not used
    assert base64.b64decode(other) == base64.b64decode(line)
    with pytest.raises(InvalidNote):
        open_note(NOTE.replace(line, other), [KEY.verifier])


def test_keys_that_cannot_be_told_apart_do_not_count(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(VerifierKey, "id", property(lambda _: b"same"))
    with pytest.raises(InvalidNote, match="No known key"):
        open_note(sign(TEXT, [KEY]), [KEY.verifier, OTHER.verifier])
