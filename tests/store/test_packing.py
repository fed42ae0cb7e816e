"""Entries lie compressed in the database, and come out byte for byte or not at all."""

from __future__ import annotations

import zstandard
from hypothesis import given
from hypothesis import strategies as st

from limbtier.store.packing import MOST_BYTES, packed, unpacked


@given(st.binary(max_size=5000))
def test_what_is_packed_comes_out_as_it_was(data: bytes) -> None:
    assert unpacked(packed(data)) == data


@given(st.binary(max_size=300), st.integers(0), st.integers(1, 255))
def test_what_was_changed_never_raises(data: bytes, place: int, change: int) -> None:
    kept = bytearray(packed(data))
    kept[place % len(kept)] ^= change
    unpacked(bytes(kept))  # other bytes, which their hash shows, or nothing


def test_what_is_not_packed_or_claims_to_be_huge_is_nothing() -> None:
    assert unpacked(b"") is None
    assert unpacked(b'{"kind":"decision"}') is None
    assert unpacked(packed(b"one") + b"more") is None
    huge = zstandard.ZstdCompressor().compressobj(size=MOST_BYTES + 1)
    assert unpacked(huge.compress(b"a") + huge.flush(zstandard.COMPRESSOBJ_FLUSH_BLOCK)) is None
