"""A local edition on the command line: checked with the cases of its base, and never the default unasked."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from limbtier.cli import main
from limbtier.foundation.settings import CHECKOUT, InvalidSettings
from limbtier.use_cases.ready_rules import ready_rules

FIRST_CONTACT = CHECKOUT / "demo_data" / "first_contact.json"
LOCAL = "quillerbeck-2026.1.0"
# The checks that ask about every assessment have tests of their own.
QUICK_CHECK = ("check", "--quick", "--on", "2026-11-26")
DIFFERING = "cases_of_the_core_edition.yaml"
# Dates are judged as on a fixed day; the checks that ask about every assessment have tests of their own.
QUICK_CHECK = ("check", "--quick", "--on", "2026-11-26")
Captured = pytest.CaptureFixture[str]


@pytest.fixture
def local(tmp_path: Path) -> Path:
    """Return the folder of the local edition, a draft, in a copy of the rules."""
    rules = tmp_path / "rules"
    shutil.copytree(CHECKOUT / "rules", rules, ignore=shutil.ignore_patterns("2026.1.1"))
    listed = (rules / "released.yaml").read_text().splitlines(keepends=True)
    kept = [line for line in listed if "core-2026.1.0" in line or "{" not in line]
    (rules / "released.yaml").write_text("".join(kept))
    folder = rules / "quillerbeck" / "2026.1.0"
    head = folder / "edition.yaml"
    head.write_text(head.read_text().replace("status: released", "status: draft"))
    return folder


def test_its_own_cases_and_those_of_its_base_come_out(local: Path, capsys: Captured) -> None:
    assert main([*QUICK_CHECK, str(local)]) == 0
    text = capsys.readouterr().out
    assert f"{LOCAL}: draft" in text
    assert "based on core-2026.1.0" in text
    assert "0 errors, 0 warnings" in text


def test_a_case_of_the_base_that_comes_out_differently_unsaid_fails_the_check(
    local: Path, capsys: Captured
) -> None:
    (local / "cases" / DIFFERING).unlink()
    assert main([*QUICK_CHECK, str(local)]) == 1
    text = capsys.readouterr().out
    assert "core/2026.1.0/cases/no_arterial_result.yaml:21: error[case-differs]: Case `age-76`" in text
    assert "list it under `replace` in `cases/` with a reason" in text


def test_the_list_of_differing_cases_can_be_put_into_a_file_of_cases(local: Path, capsys: Captured) -> None:
    (local / "cases" / DIFFERING).unlink()
    assert main([*QUICK_CHECK, "--list-differing", str(local)]) == 1
    text = capsys.readouterr().out
    listed = text[text.index("# Invented people") : text.index("Errors:")]
    (local / "cases" / "listed.yaml").write_text(listed)
    assert main([*QUICK_CHECK, str(local)]) == 0
    assert "0 errors" in capsys.readouterr().out


def test_an_error_of_the_base_is_no_error_of_the_local_edition(local: Path, capsys: Captured) -> None:
    file = local.parents[1] / "core" / "2026.1.0" / "wording.yaml"
    file.write_text(file.read_text() + "# a remark\n")
    assert main([*QUICK_CHECK, str(local)]) == 1
    text = capsys.readouterr().out
    assert "released-changed" in text
    assert "base-refused" in text
    assert "2 errors" in text


def decided_by(capsys: Captured, monkeypatch: pytest.MonkeyPatch, asked: str | None, **settings: str) -> str:
    """The edition that decides the first contact of the demo data."""
    for name, value in settings.items():
        monkeypatch.setenv(name, value)
    body = json.loads(FIRST_CONTACT.read_bytes())
    if asked is not None:
        body["edition"] = asked
    file = Path(settings["folder"]) / "asked.json"
    file.write_text(json.dumps(body))
    assert main(["decide", "--json", str(file)]) == 0
    return str(json.loads(capsys.readouterr().out)["edition"]["id"])


def test_it_decides_when_it_is_asked_for_or_its_set_is_the_one_that_decides(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = str(tmp_path)
    assert decided_by(capsys, monkeypatch, None, folder=folder) == "core-2026.1.0"
    assert decided_by(capsys, monkeypatch, LOCAL, folder=folder) == LOCAL
    assert decided_by(capsys, monkeypatch, None, folder=folder, LIMBTIER_RULE_SET="quillerbeck") == LOCAL


def test_a_set_that_is_not_there_is_named_with_the_closest() -> None:
    with pytest.raises(InvalidSettings, match=r"holds no set `quilerbeck`.*\n.*Did you mean `quillerbeck`"):
        ready_rules(CHECKOUT / "rules", "quilerbeck")
