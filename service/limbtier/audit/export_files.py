"""The files of an export, and how they are read: plain files only, never more at once than is needed.

An export is a folder:

    README.txt     what it is, for people; nothing relies on it
    keys           verifier keys, one a line, the oldest first
    checkpoint     the newest signed checkpoint, over all entries
    checkpoints    all signed checkpoints, the smallest first, an empty line between two
    leaf_hashes    the leaf hash of each entry in hexadecimal digits, one a line
    entries/       files of entries, one a line; a file is named by the position of its first entry
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO, Final

from limbtier.audit.export_damage import Damages, shown

README: Final = "README.txt"
KEYS: Final = "keys"
CHECKPOINT: Final = "checkpoint"
CHECKPOINTS: Final = "checkpoints"
LEAF_HASHES: Final = "leaf_hashes"
ENTRIES: Final = "entries"
NAMES: Final = frozenset({README, KEYS, CHECKPOINT, CHECKPOINTS, LEAF_HASHES, ENTRIES})

MOST_ENTRY_BYTES: Final = 16 * 1024 * 1024
MOST_KEYS_BYTES: Final = 100_000
_ENTRIES_NAME: Final = re.compile(r"[0-9]{12}\.jsonl", re.ASCII)


def entries_name(first: int) -> str:
    """The name of the file of entries whose first entry has this position."""
    return f"{first:012}.jsonl"


def is_entries_name(name: str) -> bool:
    """Whether a file of entries may have this name."""
    return _ENTRIES_NAME.fullmatch(name) is not None


def first_position(name: str) -> int:
    """The position of the first entry that the name of a file of entries says."""
    return int(name.rpartition("/")[2].removesuffix(".jsonl"))


class Folder:
    """An export being read. Whatever is missing or is no plain file is noted as damage, once."""

    def __init__(self, path: Path, damages: Damages) -> None:
        self._path = path
        self._damages = damages
        for name in sorted({one.name for one in path.iterdir()} - NAMES):
            damages.add("file-unexpected", f"The file {shown(name)} does not belong to an export.")

    def open(self, name: str) -> BinaryIO | None:
        """A plain file of the export, None when it is missing or something else. Follows no link.

        Raises OSError when it is there but cannot be read.
        """
        path = self._path / name
        try:
            is_plain = stat.S_ISREG(path.lstat().st_mode)
        except FileNotFoundError:
            self._damages.add("file-missing", f"The file {shown(name)} is missing.")
            return None
        if not is_plain:
            self._damages.add("file-not-plain", f"{shown(name)} is not a plain file.", name)
            return None
        # Between the look and the opening it could become a link or a pipe: then opening fails or returns.
        descriptor = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
        return os.fdopen(descriptor, "rb")

    def read(self, name: str, most: int) -> bytes | None:
        """The first `most` bytes of a file, and one more to show that there are more; None as in `open`."""
        file = self.open(name)
        if file is None:
            return None
        with file:
            return file.read(most + 1)

    def entries_files(self) -> list[str]:
        """The names of the files of entries, in order, within the export."""
        folder = self._path / ENTRIES
        try:
            is_folder = stat.S_ISDIR(folder.lstat().st_mode)
        except FileNotFoundError:
            self._damages.add("file-missing", "The folder of entries is missing.")
            return []
        if not is_folder:
            self._damages.add("file-not-plain", "entries is not a folder.", ENTRIES)
            return []
        names = sorted(one.name for one in folder.iterdir())
        for name in names:
            if not is_entries_name(name):
                self._damages.add(
                    "file-unexpected", f"{shown(name)} is no name of a file of entries.", ENTRIES
                )
        return [f"{ENTRIES}/{name}" for name in names if is_entries_name(name)]

    def size_of(self, names: list[str]) -> int:
        """How many bytes the files have together."""
        total = 0
        for name in names:
            with suppress(OSError):
                total += (self._path / name).lstat().st_size
        return total


def lines_of(file: BinaryIO, most: int) -> Iterator[tuple[bytes, bytes]]:
    """Each line of a file as its bytes and its end: a line feed, nothing where the file ends without one, or
    `...` where the line has more than `most` bytes; then its beginning is the last that is read."""
    while line := file.readline(most + 1):
        if line[-1:] == b"\n":
            yield line[:-1], b"\n"
        elif len(line) <= most:
            yield line, b""
        else:
            yield line, b"..."
            return
