"""DEVELOPERS.md, where it can be compared with something."""

from __future__ import annotations

import re
import tomllib

from limbtier.foundation.settings import CHECKOUT

DEVELOPERS = (CHECKOUT / "DEVELOPERS.md").read_text()


def section(title: str) -> str:
    """What stands below a heading, to the next one of its kind."""
    return DEVELOPERS.partition(f"\n## {title}")[2].partition("\n## ")[0]


def test_decisions_are_numbered_one_by_one() -> None:
    numbers = [
        int(number) for number in re.findall(r"^(\d+)\. ", section("Decisions, and why"), re.MULTILINE)
    ]
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) > 70


def test_every_library_that_is_required_has_its_reason() -> None:
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())["project"]
    required = list(project["dependencies"])
    for lines in project["optional-dependencies"].values():
        required.extend(lines)
    named = {re.split(r"[<>=\[ ]", line)[0].lower() for line in required}
    told = section("Libraries, each with its reason").lower()
    assert [name for name in sorted(named) if not re.search(rf"[ |]{re.escape(name)}[ ,|.]", told)] == []
