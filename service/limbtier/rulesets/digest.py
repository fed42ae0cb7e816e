"""The fingerprint of a folder of rule files."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Final


def files_of(folder: Path) -> dict[str, Path]:
    """Every file of a folder and those below it by its relative path with `/`, sorted; hidden files and the
    copies that editors leave are not part of it."""
    found: dict[str, Path] = {}
    for path in folder.rglob("*"):
        relative = path.relative_to(folder)
        if path.is_file() and not any(_left_by_editor(part) for part in relative.parts):
            found[relative.as_posix()] = path
    return dict(sorted(found.items()))


def _left_by_editor(name: str) -> bool:
    return name.startswith((".", "#")) or name.endswith(("~", ".swp", ".bak", ".orig", ".tmp"))


# No file can have this path, because paths are relative.
_BASE: Final = "/based_on"


def digest_on_base(contents: Mapping[str, bytes], base: str) -> str:
    """The digest of an edition that is based on another: over its own files and the digest of its base."""
    return digest({**contents, _BASE: base.encode()})


def digest(contents: Mapping[str, bytes]) -> str:
    """`sha256:` and the hash over path and content of every file in the order of the paths, each preceded by
    its length in 8 bytes, so that no two sets of files give the same text."""
    total = hashlib.sha256()
    for path, content in sorted(contents.items()):
        for part in (path.encode("utf-8", "surrogateescape"), content):
            total.update(len(part).to_bytes(8, "big"))
            total.update(part)
    return f"sha256:{total.hexdigest()}"
