"""Each check is one module, one test and one explanation, and its id is that of its module."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import limbtier.governance.checks as package
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.checks.check import Check
from limbtier.governance.checks.reference import checks_page, explanation
from limbtier.governance.checks.registry import BY_TOPIC, CHECKS

FOLDER = Path(package.__file__).parent
TESTS = Path(__file__).parent
# What stands beside the checks of a topic and is none.
SHARED = {"__init__", "told"}


def modules() -> list[Path]:
    return sorted(
        path
        for topic in FOLDER.iterdir()
        if topic.is_dir() and topic.name != "__pycache__"
        for path in topic.glob("*.py")
        if path.stem not in SHARED
    )


def test_every_module_of_a_topic_is_a_check_that_is_listed() -> None:
    assert {path.stem.replace("_", "-") for path in modules()} == set(CHECKS)
    assert len(modules()) == len(CHECKS) == sum(len(checks) for checks in BY_TOPIC.values())


def test_there_are_more_checks_than_were_asked_for() -> None:
    assert len(CHECKS) >= 25


@pytest.mark.parametrize("path", modules(), ids=lambda path: path.stem)
def test_a_module_defines_one_check_and_has_a_test(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    assert len(re.findall(r"^CHECK: Final = Check\($", source, re.MULTILINE)) == 1
    assert f'id="{path.stem.replace("_", "-")}"' in source
    assert (TESTS / path.parent.name / f"test_{path.stem}.py").is_file()


@pytest.mark.parametrize("check", CHECKS.values(), ids=CHECKS)
def test_an_explanation_says_what_why_how_and_shows_an_example(check: Check) -> None:
    told = check.explanation
    for part in (told.finds, told.why, told.mend, told.example):
        assert len(part.split()) >= 4
        assert part.strip() == part
    assert check.title[0].isupper()
    assert not check.title.endswith(".")
    text = explanation(check.id)
    assert text.startswith(f"{check.id}: {check.title}")
    assert ("--quick" in text) is check.needs_prover


def test_the_committed_page_on_checks_is_the_generated_one() -> None:
    committed = (CHECKOUT / "rules" / "CHECKS.md").read_text(encoding="utf-8")
    assert committed == checks_page(), "run `limbtier checks`"


def test_the_page_names_every_check_once_in_its_table() -> None:
    for check_id in CHECKS:
        assert checks_page().count(f"| [{check_id}](#{check_id})") == 1
