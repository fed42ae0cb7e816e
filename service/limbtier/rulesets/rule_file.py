"""Opens one rule file, with what is wrong named like every other fault of rule files."""

from __future__ import annotations

from pathlib import Path

from limbtier.rulesets.findings import Findings
from limbtier.rulesets.nodes import Node
from limbtier.rulesets.strict_yaml import LARGEST_BYTES, compose


def read_file(file: Path, name: str, found: Findings) -> bytes | None:
    """The bytes of a file, at most one more than a rule file may have; None when it cannot be read."""
    try:
        with file.open("rb") as opened:
            return opened.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        found.add_file("missing-file", name, "The file is missing.", f"Add `{name}`.")
    except OSError as error:
        found.add_file("missing-file", name, "The file cannot be opened.", f"Check it: {error.strerror}.")
    return None


def compose_file(file: Path, name: str, found: Findings) -> Node | None:
    """The tree of a file, or None when it cannot be read as a whole."""
    data = read_file(file, name, found)
    return compose(data, name, found) if data is not None else None
