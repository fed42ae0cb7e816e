"""The check on the command line: findings by severity, as text and JSON, explained, strict if asked."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from limbtier.cli import main
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.checks.registry import CHECKS

QUICK_CHECK = ("check", "--quick", "--on", "2026-11-26")
Captured = pytest.CaptureFixture[str]


@pytest.fixture
def rules(tmp_path: Path) -> Path:
    """Return a copy of the rules whose core edition is a draft, without the editions based on it."""
    folder = tmp_path / "rules"
    shutil.copytree(CHECKOUT / "rules", folder, ignore=shutil.ignore_patterns("quillerbeck", "2026.1.1"))
    (folder / "released.yaml").write_text("editions: []\n")
    head = folder / "core" / "2026.1.0" / "edition.yaml"
    head.write_text(head.read_text().replace("status: released", "status: draft"))
    return folder


def edit(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert text.count(old) == 1
    file.write_text(text.replace(old, new), encoding="utf-8")


def an_error_and_a_warning(rules: Path) -> None:
    """A rule that gives no reason, and an arrangement that nobody asks for."""
    core = rules / "core" / "2026.1.0"
    edit(
        core / "rules" / "withheld_until_agreed.yaml",
        "because: A vascular specialist has advised against compressing this leg.",
        "because: As above.",
    )
    with (core / "arrangements.yaml").open("a", encoding="utf-8") as file:
        file.write("  - name: nobody_asks\n    title: Something that no rule arranges\n")


def test_errors_come_first_then_warnings_each_with_its_place(rules: Path, capsys: Captured) -> None:
    an_error_and_a_warning(rules)
    assert main([*QUICK_CHECK, str(rules)]) == 1
    text = capsys.readouterr().out
    errors, warnings = text.split("Errors:\n")[1].split("Warnings:\n")
    assert re.match(
        r"core/2026\.1\.0/rules/withheld_until_agreed\.yaml:\d+: error\[reason-says-nothing\]: ", errors
    )
    assert re.match(r"core/2026\.1\.0/arrangements\.yaml:\d+: warning\[unused-arrangement\]: ", warnings)
    assert "limbtier check --explain unused-arrangement" in warnings
    assert text.endswith("1 error, 1 warning.\n")


def test_a_warning_fails_the_check_only_when_it_is_strict(rules: Path, capsys: Captured) -> None:
    core = rules / "core" / "2026.1.0"
    with (core / "arrangements.yaml").open("a", encoding="utf-8") as file:
        file.write("  - name: nobody_asks\n    title: Something that no rule arranges\n")
    assert main([*QUICK_CHECK, str(core)]) == 0
    assert main([*QUICK_CHECK, "--strict", str(core)]) == 1
    assert "0 errors, 1 warning." in capsys.readouterr().out


def test_as_json_every_finding_says_what_where_and_of_which_check(rules: Path, capsys: Captured) -> None:
    an_error_and_a_warning(rules)
    assert main([*QUICK_CHECK, "--json", str(rules)]) == 1
    report = json.loads(capsys.readouterr().out)
    assert (report["passed"], report["strict"], report["day"]) == (False, False, "2026-11-26")
    assert report["refused"] == []
    [edition] = report["editions"]
    assert edition["edition"] == "core-2026.1.0"
    assert edition["failed_cases"] == []
    assert [(one["severity"], one["code"], one["part"], one["name"]) for one in edition["findings"]] == [
        ("error", "reason-says-nothing", "rule", "vascular-says-no"),
        ("warning", "unused-arrangement", "arrangement", "nobody_asks"),
    ]
    assert all(one["file"] and one["line"] and one["help"] for one in edition["findings"])
    assert all(one["reason"] and one["decided_by"] and one["until"] for one in edition["accepted"])


def test_what_loading_refuses_is_in_the_json_too(rules: Path, capsys: Captured) -> None:
    edit(rules / "core" / "2026.1.0" / "edition.yaml", "guard_rails: 1.0.0", "guard_rail: 1.0.0")
    assert main([*QUICK_CHECK, "--json", str(rules)]) == 1
    report = json.loads(capsys.readouterr().out)
    assert report["editions"] == []
    assert "unknown-key" in {one["code"] for one in report["refused"]}


def test_a_mended_finding_leaves_its_suppression_to_be_taken_out(rules: Path, capsys: Captured) -> None:
    because = rules / "core" / "2026.1.0" / "rules" / "arterial_supply.yaml"
    edit(
        because,
        "Pain on walking, pulses that are absent, a one-phase Doppler sound, known arterial disease or a low "
        "toe-brachial\n      index each point to a poor supply, whatever the ankle ratio says.",
        "Each of these points to a poor supply, whatever the ankle ratio says.",
    )
    assert main([*QUICK_CHECK, str(rules)]) == 0
    text = capsys.readouterr().out
    assert re.search(r"checks\.yaml:\d+: warning\[suppression-unused\]: `hard-to-read` finds nothing", text)
    assert "0 errors, 1 warning." in text


def test_a_suppression_without_a_reason_a_role_or_a_day_is_refused(rules: Path, capsys: Captured) -> None:
    with (rules / "checks.yaml").open("a", encoding="utf-8") as file:
        file.write(
            "  - {check: unused-inputs, edition: core-2026.2.0, part: input, name: diabetes, "
            "decided_by: Dr A. Made}\n"
        )
    assert main([*QUICK_CHECK, str(rules)]) == 1
    text = capsys.readouterr().out
    for words in (
        "needs `reason`",
        "needs `until`",
        "Did you mean `unused-input`?",
        "`core-2026.2.0`",
        "not-a-role",
    ):
        assert words in text


def test_without_the_file_of_the_checks_nothing_is_judged(rules: Path, capsys: Captured) -> None:
    (rules / "checks.yaml").unlink()
    assert main([*QUICK_CHECK, str(rules)]) == 1
    assert "checks.yaml: error[missing-file]" in capsys.readouterr().out


def test_a_check_is_explained_and_a_misspelt_one_is_guessed(capsys: Captured) -> None:
    assert main(["check", "--explain", "edges-leave-a-gap"]) == 0
    text = capsys.readouterr().out
    for words in ("edges-leave-a-gap: ", "Finds: ", "Why: ", "Mend: ", "Example: "):
        assert words in text
    assert main(["check", "--explain", "edge-leaves-a-gap"]) == 2
    assert "Did you mean `edges-leave-a-gap`?" in capsys.readouterr().err


def test_a_day_that_is_none_is_refused(capsys: Captured) -> None:
    with pytest.raises(SystemExit) as left:
        main(["check", "--on", "26.11.2026"])
    assert left.value.code == 2
    assert "write a day as 2026-01-31" in capsys.readouterr().err


def test_the_whole_check_of_the_project_asks_the_prover_and_finds_nothing(capsys: Captured) -> None:
    assert (
        main(["check", "--on", "2026-11-26", "--strict", str(CHECKOUT / "rules" / "core" / "2026.1.0")]) == 0
    )
    text = capsys.readouterr().out
    assert (
        f"{sum(not check.judges_suppressions for check in CHECKS.values())} checks: 0 errors, 0 warnings"
        in text
    )


def test_the_page_on_the_checks_is_written_where_it_is_asked_for(tmp_path: Path, capsys: Captured) -> None:
    assert main(["checks", str(tmp_path / "page.md")]) == 0
    assert (tmp_path / "page.md").read_text() == (CHECKOUT / "rules" / "CHECKS.md").read_text()
    assert "page.md" in capsys.readouterr().out


def test_the_quick_check_does_not_load_the_solver() -> None:
    loaded = "import sys; from limbtier.cli import main; main(sys.argv[1:]); print('z3' in sys.modules)"
    rules = str(CHECKOUT / "rules" / "core" / "2026.1.0")
    done = subprocess.run(
        [sys.executable, "-c", loaded, *QUICK_CHECK, rules],
        capture_output=True,
        text=True,
        check=True,
        cwd=CHECKOUT / "service",
    )
    assert done.stdout.splitlines()[-1] == "False"
