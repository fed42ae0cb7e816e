"""The bytes of an entry as they lie in the database: compressed, because a decision repeats the words of its
edition. What is hashed, answered and exported is never compressed.

Compressed, a decision takes a quarter of the room. That matters more for time than for room: each commit
writes its bytes to the disk twice, and the second time makes everybody wait.
"""

from __future__ import annotations

import threading
from typing import Final

import zstandard

LEVEL: Final = 1
MOST_BYTES: Final = 64 * 1024 * 1024
"""No entry is larger; what says that it is was tampered with."""


class _Tools(threading.local):
    """Compressing and decompressing keep state, so each thread has its own."""

    def __init__(self) -> None:
        self.compressor = zstandard.ZstdCompressor(level=LEVEL, write_checksum=False)
        self.decompressor = zstandard.ZstdDecompressor()


_tools = _Tools()


def packed(data: bytes) -> bytes:
    """The bytes to keep."""
    return _tools.compressor.compress(data)


def unpacked(kept: bytes) -> bytes | None:
    """The bytes that were packed; None when what is kept cannot be unpacked: it is not as it was written."""
    try:
        size = zstandard.frame_content_size(kept)
        if not 0 <= size <= MOST_BYTES:
            return None
        return _tools.decompressor.decompress(kept, allow_extra_data=False)
    except zstandard.ZstdError:
        return None
