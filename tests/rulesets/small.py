"""The small edition as bytes and loaded, for tests that change it in memory."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from limbtier.domain.edition import Edition
from limbtier.rulesets.loader import read_edition
from tests.rulesets.golden import EDITION, SMALL_RULES

RULE_SET, VERSION = EDITION.split("/")


@cache
def small_files() -> Mapping[str, bytes]:
    """Every file of the small edition by its path in the edition's folder."""
    folder = SMALL_RULES / EDITION
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def load_small(changed: Mapping[str, bytes] | None = None) -> Edition:
    """The small edition with some files changed."""
    return read_edition(RULE_SET, VERSION, {**small_files(), **(changed or {})}, {})
