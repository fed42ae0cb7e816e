"""The small edition, and the one that is based on it, as bytes and loaded, for tests that change them in
memory."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path

from limbtier.domain.edition import Edition
from limbtier.rulesets.loader import read_edition
from tests.rulesets.golden import EDITION, LOCAL_EDITION, SMALL_RULES

RULE_SET, VERSION = EDITION.split("/")


@cache
def small_files() -> Mapping[str, bytes]:
    """Every file of the small edition by its path in the edition's folder."""
    return _files(SMALL_RULES / EDITION)


@cache
def local_files() -> Mapping[str, bytes]:
    """Every file of the edition that is based on the small one."""
    return _files(LOCAL_EDITION)


def _files(folder: Path) -> Mapping[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def load_small(changed: Mapping[str, bytes] | None = None) -> Edition:
    """The small edition with some files changed."""
    return read_edition(RULE_SET, VERSION, {**small_files(), **(changed or {})}, {})


_SMALL = load_small()


def load_local(changed: Mapping[str, bytes] | None = None) -> Edition:
    """The edition that is based on the small one, with some files changed."""
    files = {**local_files(), **(changed or {})}
    return read_edition("local", VERSION, files, {}, {_SMALL.id: _SMALL})
