"""`limbtier prove` says line by line what is proved, shows what is broken, and says both in its exit code."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from limbtier.cli import main
from limbtier.governance.proofs.session import NotSettled, Session
from tests.conftest import CHECKOUT

CORE = CHECKOUT / "rules" / "core" / "2026.1.0"
Captured = pytest.CaptureFixture[str]


@pytest.fixture
def draft(tmp_path: Path) -> Path:
    """The folder of the core edition, a draft again, in a rules folder of its own."""
    rules = tmp_path / "rules"
    shutil.copytree(CHECKOUT / "rules", rules, ignore=shutil.ignore_patterns("2026.1.1"))
    for folder in rules.iterdir():
        if folder.is_dir() and folder.name not in ("core", "guard_rails", "calendars", "schemas"):
            shutil.rmtree(folder)
    (rules / "released.yaml").write_text("editions: []\n")
    edition = rules / "core" / "2026.1.0" / "edition.yaml"
    edition.write_text(edition.read_text().replace("status: released", "status: draft"))
    return edition.parent


def replace_once(file: Path, before: str, after: str) -> None:
    text = file.read_text()
    assert text.count(before) == 1
    file.write_text(text.replace(before, after))


def test_what_one_rule_can_break_is_proved_line_by_line(capsys: Captured) -> None:
    assert main(["prove", str(CORE), "--rule", "stent"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "core-2026.1.0, guard rails 1.0.0"
    assert [line.split()[:2] for line in lines[1:3]] == [
        ["proved", "danger-sign-withholds"],
        ["proved", "critical-arterial-values-withhold"],
    ]
    assert lines[-2].split()[:2] == ["proved", "stent-lifts"]
    assert lines[-1].startswith("18 of 18 statements proved for every assessment, in ")


def test_a_broken_guard_rail_is_shown_in_plain_words_and_as_a_worked_case(
    draft: Path, tmp_path: Path, capsys: Captured
) -> None:
    replace_once(
        draft / "rules" / "withheld_until_agreed.yaml",
        "      heart_failure_team_advice: advises_against\n    then:\n      limit: {tier: withhold}",
        "      heart_failure_team_advice: advises_against\n    then:\n      limit: {tier: mild}",
    )
    cases = tmp_path / "found"
    arguments = ["prove", str(draft), "--rule", "heart-team-says-no", "--cases", str(cases)]
    assert main(arguments) == 1
    text = capsys.readouterr().out
    assert "BROKEN       heart-failure-caps" in text
    assert "What does the heart-failure team, or the doctor responsible, say about compression?" in text
    assert "Advises against compression." in text
    assert "it breaks heart-failure-caps" in text
    written = {path.name for path in cases.iterdir()}
    assert "core-2026.1.0_heart-failure-caps.yaml" in written
    # The case stands in the edition as it was found, and comes out as it says.
    shutil.copy(cases / "core-2026.1.0_heart-failure-caps.yaml", draft / "cases" / "found.yaml")
    assert main(["check", "--quick", "--on", "2026-11-26", str(draft)]) == 1
    assert "`proof-heart-failure-caps`" in capsys.readouterr().out


def test_the_verdicts_can_be_read_by_a_program(capsys: Captured) -> None:
    assert main(["prove", str(CORE), "--rule", "wet-review", "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["edition"] == "core-2026.1.0"
    assert {one["verdict"] for one in record["verdicts"]} == {"proved"}
    assert record["verdicts"][0]["id"] == "danger-sign-withholds"


def test_what_is_not_settled_has_an_exit_code_of_its_own(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Session, "find", lambda *_, **__: NotSettled("the solver ran out of time"))
    assert main(["prove", str(CORE), "--rule", "wet-review"]) == 3
    text = capsys.readouterr().out
    assert "not settled  danger-sign-withholds" in text
    assert "the solver ran out of time" in text


def test_an_unknown_rule_and_refused_files_are_named(draft: Path, capsys: Captured) -> None:
    assert main(["prove", str(CORE), "--rule", "stend"]) == 2
    assert "Did you mean `stent`?" in capsys.readouterr().err
    (draft / "tiers.yaml").write_text("tiers: [")
    assert main(["prove", str(draft)]) == 2
    assert "core/2026.1.0/tiers.yaml" in capsys.readouterr().err


def test_the_service_starts_without_the_solver() -> None:
    asked = "import limbtier.app, limbtier.cli, sys; sys.exit('z3' in sys.modules)"
    assert (
        subprocess.run([sys.executable, "-c", asked], cwd=CHECKOUT / "service", check=False).returncode == 0
    )
