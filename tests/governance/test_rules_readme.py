"""What the page for governance teams shows of a local edition loads, and comes out as the page says."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from limbtier.cli import main
from limbtier.foundation.settings import CHECKOUT

PAGE = (CHECKOUT / "rules" / "README.md").read_text(encoding="utf-8")
SECTION = PAGE.split("## A local edition")[1]


def test_the_examples_make_an_edition_that_loads_and_whose_listed_case_comes_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(CHECKOUT / "rules", rules)
    monkeypatch.setenv("LIMBTIER_RULES", str(rules))
    [begin] = re.findall(r"limbtier (new-edition .*?)  ", SECTION)
    assert main(begin.split()) == 0
    folder = rules / "larchmere" / "2026.1.0"
    for block in re.findall(r"```yaml\n(.*?)```", SECTION, re.DOTALL):
        heading, _, body = block.partition("\n")
        [file] = re.findall(r"^# ([a-z_/]+\.yaml)", heading)
        kept = (folder / file).read_text() if "after" in heading else ""
        (folder / file).write_text(kept + body)
    capsys.readouterr()
    assert main(["check", "--quick", "--list-differing", "--on", "2026-11-26", str(folder)]) == 1
    text = capsys.readouterr().out
    assert "larchmere-2026.1.0: draft" in text
    assert set(re.findall(r"error\[([a-z-]+)\]", text)) == {"case-differs"}
    assert "`diabetes-good-doppler-sound`" not in text
    assert "`diabetes-doppler-not-done`" in text  # it differs too, and the page does not list it


def test_the_page_names_every_file_that_a_local_edition_may_have() -> None:
    for name in ("edition", "vocabulary", "tiers", "sources", "arrangements", "materials", "wording"):
        assert f"`{name}.yaml`" in SECTION
    assert "LIMBTIER_RULE_SET" in SECTION
