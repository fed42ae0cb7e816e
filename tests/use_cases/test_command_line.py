"""The command line answers good input, names bad input by line and place, and says so in its exit code."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from limbtier.cli import main
from limbtier.foundation.settings import CHECKOUT

FIRST_CONTACT = CHECKOUT / "demo_data" / "first_contact.json"
# Dates are judged as on a fixed day; the checks that ask about every assessment have tests of their own.
QUICK_CHECK = ("check", "--quick", "--on", "2026-11-26")
Captured = pytest.CaptureFixture[str]


def draft_rules(tmp_path: Path) -> Path:
    """A copy of the rules with the first core edition alone, a draft again, so that a test may change it."""
    rules = tmp_path / "rules"
    shutil.copytree(CHECKOUT / "rules", rules)
    shutil.rmtree(rules / "quillerbeck")
    shutil.rmtree(rules / "core" / "2026.1.1")
    (rules / "released.yaml").write_text("editions: []\n")
    edition = rules / "core" / "2026.1.0" / "edition.yaml"
    edition.write_text(edition.read_text().replace("status: released", "status: draft"))
    return rules


def test_one_assessment_is_shown_with_tier_reasons_plan_review_and_caution(capsys: Captured) -> None:
    assert main(["decide", str(FIRST_CONTACT)]) == 0
    text = capsys.readouterr().out
    assert "LEFT LEG: start at mild" in text
    for words in ("Held there by:", "Step-up plan to strong", "Review:", "Arrange:", "Why:", "CAUTION:"):
        assert words in text
    assert "stored nowhere" in text


def test_with_json_the_record_of_the_api_is_printed_on_one_line(capsys: Captured) -> None:
    assert main(["decide", "--json", str(FIRST_CONTACT)]) == 0
    [line] = capsys.readouterr().out.splitlines()
    record = json.loads(line)
    assert record["id"] is None
    assert record["limbs"]["left"]["tier"] == "mild"
    assert record["received"] == FIRST_CONTACT.read_text()


def test_of_many_lines_the_good_are_answered_and_the_bad_named_by_number(
    tmp_path: Path, capsys: Captured
) -> None:
    good = json.dumps(json.loads(FIRST_CONTACT.read_bytes()))
    wrong = json.loads(good)
    wrong["person"]["diabetes"] = "yes"
    wrong["limbs"]["left"]["pain_score"] = 11
    file = tmp_path / "many.jsonl"
    file.write_text("\n".join([good, json.dumps(wrong), "", "{", good]))
    assert main(["decide", "--json", str(file)]) == 1
    captured = capsys.readouterr()
    assert len(captured.out.splitlines()) == 2
    assert "line 2: not answered" in captured.err
    assert "/person/diabetes" in captured.err
    assert "/limbs/left/pain_score" in captured.err
    assert "line 4: not answered" in captured.err
    assert "4 lines: 2 answered, 2 not answered" in captured.err


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"assessed_at": 5}', "\x00"])
def test_a_file_that_is_no_assessment_gives_a_message_and_no_tier(
    text: str, tmp_path: Path, capsys: Captured
) -> None:
    file = tmp_path / "bad.json"
    file.write_text(text)
    assert main(["decide", str(file)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "error[" in captured.err
    assert "Traceback" not in captured.err


def test_a_file_that_is_not_there_is_named(tmp_path: Path, capsys: Captured) -> None:
    assert main(["decide", str(tmp_path / "nowhere.json")]) == 2
    assert "nowhere.json" in capsys.readouterr().err


def test_check_reads_the_rules_runs_the_worked_cases_and_counts(capsys: Captured) -> None:
    assert main([*QUICK_CHECK, str(CHECKOUT / "rules")]) == 0
    text = capsys.readouterr().out
    assert "core-2026.1.0" in text
    assert "0 errors, 0 warnings" in text


def test_check_names_every_fault_with_file_line_and_column(tmp_path: Path, capsys: Captured) -> None:
    rules = draft_rules(tmp_path)
    file = rules / "core" / "2026.1.0" / "rules" / "arterial_supply.yaml"
    file.write_text(file.read_text().replace("claudication: yes", "claudicatoin: true", 1))
    assert main([*QUICK_CHECK, str(rules)]) == 1
    text = capsys.readouterr().out
    assert "core/2026.1.0/rules/arterial_supply.yaml:" in text
    assert "claudication" in text
    assert "Nothing of these files is used" in text


def test_a_worked_case_that_differs_fails_the_check(tmp_path: Path, capsys: Captured) -> None:
    folder = draft_rules(tmp_path) / "core" / "2026.1.0"
    cases = sorted((folder / "cases").glob("*.yaml"))
    changed = next(file for file in cases if "tier: mild" in file.read_text())
    changed.write_text(changed.read_text().replace(" tier: mild", " tier: strong", 1))
    assert main([*QUICK_CHECK, str(folder)]) == 1
    assert "case-differs" in capsys.readouterr().out


@pytest.mark.parametrize("path", ["nowhere", "."])
def test_check_of_a_place_without_rules_says_what_to_name(
    path: str, tmp_path: Path, capsys: Captured
) -> None:
    assert main(["check", str(tmp_path / path)]) == 2
    assert "no-rules-here" in capsys.readouterr().err


def test_a_released_edition_whose_files_changed_is_refused(tmp_path: Path, capsys: Captured) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(CHECKOUT / "rules", rules)
    file = rules / "core" / "2026.1.0" / "wording.yaml"
    file.write_text(file.read_text() + "# one more remark\n")
    assert main([*QUICK_CHECK, str(rules)]) == 1
    assert "released" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("written", "instead"),
    [
        ("does_not_apply: [slow-14]", "does_not_apply: [established]"),
        ("materials: [paste_layer,", "materials: [hosiery_kit,"),
    ],
)
def test_a_case_fails_when_what_should_not_be_is_or_what_should_be_is_not(
    written: str, instead: str, tmp_path: Path, capsys: Captured
) -> None:
    folder = draft_rules(tmp_path) / "core" / "2026.1.0"
    file = next(file for file in (folder / "cases").glob("*.yaml") if written in file.read_text())
    file.write_text(file.read_text().replace(written, instead, 1))
    assert main([*QUICK_CHECK, str(folder)]) == 1
    text = capsys.readouterr().out
    assert "1 error, 0 warnings" in text
    assert "case-differs" in text
