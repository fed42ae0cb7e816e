"""The command that measures an impact: what it prints, what it writes, and what it says when it cannot."""

from __future__ import annotations

import csv
import io
import json
import xml.etree.ElementTree as ET
from datetime import date, datetime
from pathlib import Path

import pytest

from limbtier.cli import main
from limbtier.domain.entry import DecisionFilter
from limbtier.foundation.settings import CHECKOUT
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.past_assessments import DecisionsOfLog
from limbtier.use_cases.report_impact import decisions_of_log
from tests.support.records import decided

Captured = pytest.CaptureFixture[str]
LOCAL = "quillerbeck-2026.1.0"
COHORT = (CHECKOUT / "demo_data" / "assessments.jsonl").read_bytes().splitlines()


def test_the_summary_is_printed_files_are_written_and_progress_is_told(
    tmp_path: Path, capsys: Captured
) -> None:
    past = tmp_path / "past.jsonl"
    past.write_bytes(b"\n".join(COHORT[:40]))
    files = {form: tmp_path / f"impact.{form}" for form in ("json", "csv", "svg")}
    named = [text for form, file in files.items() for text in (f"--{form}", str(file))]
    assert main(["impact", LOCAL, "--on", str(past), *named]) == 0
    captured = capsys.readouterr()
    record = json.loads(files["json"].read_bytes())
    rows = list(csv.DictReader(io.StringIO(files["csv"].read_bytes().decode(), newline="")))
    assert record["edition"]["id"] == LOCAL
    assert record["source"] == "the lines of past.jsonl"
    assert record["assessments"] == 40
    assert len(record["changes"]) == record["legs_that_differ"] == len(rows) > 0
    assert ET.fromstring(files["svg"].read_text()).get("role") == "img"  # noqa: S314 - the service wrote it
    assert f"40 assessments, {record['legs']} legs; {len(rows)} of the legs differ" in captured.out
    assert "100%  40 assessments" in captured.err
    assert f"wrote {files['svg']}" in captured.err


def test_what_cannot_be_decided_is_told_and_fails_the_command(
    rules: ReadyRules, tmp_path: Path, capsys: Captured
) -> None:
    past = tmp_path / "past.jsonl"
    past.write_bytes(decided(rules) + b"\n{\n")
    table = tmp_path / "impact.csv"
    assert main(["impact", LOCAL, "--on", str(past), "--csv", str(table)]) == 1
    assert "line 2, by none: not-json: The text stops being JSON" in capsys.readouterr().out
    [*_, last] = csv.DictReader(io.StringIO(table.read_bytes().decode(), newline=""))
    assert (last["what"], last["reference"]) == ("not decided", "line 2")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--on", "nowhere.jsonl"], "nowhere.jsonl is no file"),
        (["--on", "past.jsonl", "--svg", "no/folder.svg"], "folder.svg"),
        (["--on", "past.jsonl", "--against", "core-2025.9.9"], "There is no edition `core-2025.9.9`"),
        (["--organisation", "quillerbeck"], "There is no database"),
    ],
)
def test_what_cannot_be_done_is_said_before_anything_is_measured(
    arguments: list[str],
    said: str,
    tmp_path: Path,
    capsys: Captured,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LIMBTIER_DATABASE", raising=False)
    Path("past.jsonl").write_bytes(COHORT[0])
    assert main(["impact", LOCAL, *arguments]) == 2
    captured = capsys.readouterr()
    assert said in captured.err
    assert captured.out == ""


@pytest.mark.parametrize(
    "arguments", [[], ["--on", "a", "--organisation", "b"], ["--organisation", "b", "--from", "yesterday"]]
)
def test_arguments_that_make_no_sense_are_refused(arguments: list[str], capsys: Captured) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["impact", LOCAL, *arguments])
    assert ended.value.code == 2
    assert "limbtier impact" in capsys.readouterr().err


def test_days_begin_by_the_clocks_of_the_united_kingdom() -> None:
    past = decisions_of_log("log.sqlite3", "quillerbeck", date(2026, 7, 1), date(2027, 1, 1))
    assert isinstance(past.assessments, DecisionsOfLog)
    assert past.assessments.wanted == DecisionFilter(
        "quillerbeck",
        decided_from=datetime.fromisoformat("2026-06-30T23:00:00+00:00"),
        decided_before=datetime.fromisoformat("2027-01-01T00:00:00+00:00"),
    )
    assert past.source == "decisions of quillerbeck in the log, from 2026-07-01, before 2027-01-01"
    everything = decisions_of_log("log.sqlite3", "quillerbeck", None, None)
    assert isinstance(everything.assessments, DecisionsOfLog)
    assert everything.assessments.wanted == DecisionFilter("quillerbeck")


def test_the_hazard_log_is_printed_in_each_form(capsys: Captured) -> None:
    assert main(["hazards"]) == 0
    assert "claims compliance with no standard" in capsys.readouterr().out
    assert main(["hazards", "--markdown", "--edition", LOCAL]) == 0
    assert LOCAL in capsys.readouterr().out
    assert main(["hazards", "--edition", "core-2025.1.0"]) == 2
    assert "Did you mean `core-2026.1.0`?" in capsys.readouterr().err
