"""Two people release an edition by the commands that the page for governance teams shows."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from limbtier.cli import main
from limbtier.domain.assessment import day_of
from limbtier.foundation.clock import now
from limbtier.foundation.settings import CHECKOUT
from limbtier.store.drafts import EditionTable
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from limbtier.use_cases.release_rules import rules_at_start

PAGE = (CHECKOUT / "rules" / "README.md").read_text(encoding="utf-8")
SECTION = PAGE.split("## Releasing an edition, by two people")[1].split("\n## ")[0]
Captured = pytest.CaptureFixture[str]


@pytest.fixture
def keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured) -> dict[str, str]:
    """An empty log, a rules folder with a local edition, and the keys of an editor and an approver."""
    shutil.copytree(CHECKOUT / "rules", tmp_path / "rules")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LIMBTIER_RULES", str(tmp_path / "rules"))
    monkeypatch.setenv("LIMBTIER_DATABASE", str(tmp_path / "log.sqlite3"))
    made = {}
    for role in ("editor", "approver"):
        assert main(["keys", "add", "--role", role, "--organisation", "larchmere"]) == 0
        made[role] = capsys.readouterr().out.strip()
    assert main(["new-edition", "larchmere", "2026.1.0", "--based-on", "core-2026.1.0"]) == 0
    return made


def run(command: list[str], key: str, monkeypatch: pytest.MonkeyPatch, capsys: Captured) -> tuple[int, str]:
    monkeypatch.setenv("LIMBTIER_KEY", key)
    capsys.readouterr()
    code = main(command)
    shown = capsys.readouterr()
    return code, shown.out + shown.err


def test_the_commands_of_the_page_release_an_edition(
    keys: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    [block] = re.findall(r"```sh\n(.*?)```", SECTION, re.DOTALL)
    lines = [line.split("  #")[0].strip() for line in block.splitlines()]
    assert len(lines) == 6
    text = ""
    for line in lines:
        setting, _program, *command = shlex.split(line)
        key = keys["editor" if "EDITOR" in setting else "approver"]
        code, text = run(command, key, monkeypatch, capsys)
        assert code == 0, text
    assert "released" in text
    read = {path.relative_to("to_read"): path.read_bytes() for path in Path("to_read").rglob("*.*")}
    folder = tmp_path / "rules" / "larchmere" / "2026.1.0"
    assert read == {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*.*")}

    store = EntryStore(open_database(tmp_path / "log.sqlite3"))
    rules = rules_at_start(tmp_path / "rules", None, EditionTable(store.database), store)
    edition = rules.editions["larchmere-2026.1.0"].edition
    assert edition.status == "released"
    records = [json.loads(one.data) for one in store.entries_from(0, store.head().size)]
    steps = [one for one in records if one["kind"].startswith("edition_")]
    assert [one["kind"] for one in steps] == [
        f"edition_{step}" for step in ("saved", "checked", "proved", "approved", "released")
    ]
    assert steps[-1]["digest"] == edition.digest
    assert steps[3]["reason"] == "Read with the vascular nurses"
    store.close()

    # Going back: what was, under a new version.
    day = (day_of(now()) + timedelta(days=1)).isoformat()
    copy = ["draft", "copy", "larchmere-2026.1.0", "2026.3.0", "--from", day]
    code, text = run(copy, keys["editor"], monkeypatch, capsys)
    assert (code, "larchmere-2026.3.0: draft, revision 1" in text) == (0, True), text
    code, text = run(
        ["draft", "show", "larchmere-2026.3.0", "--to", "back"], keys["editor"], monkeypatch, capsys
    )
    assert f"effective_from: {day}\n" in Path("back/edition.yaml").read_text()
    assert "version: 2026.3.0\n" in Path("back/edition.yaml").read_text()
    code, text = run(["draft", "list"], keys["approver"], monkeypatch, capsys)
    assert re.findall(r"^(\S+)  (\S+)  ", text, re.MULTILINE) == [
        ("larchmere-2026.1.0", "released"),
        ("larchmere-2026.3.0", "draft"),
    ]
    code, text = run(
        ["retire", "larchmere-2026.1.0", "--reason", "Gone"], keys["approver"], monkeypatch, capsys
    )
    assert (code, "is retired" in text) == (0, True)


REFUSED = [
    ("approver", ["draft", "put", "rules/larchmere/2026.1.0"], "insufficient-scope"),
    ("editor", ["draft", "approve", "larchmere-2026.1.0", "--revision", "1"], "insufficient-scope"),
    ("editor", ["retire", "core-2026.1.0", "--reason", "No"], "insufficient-scope"),
    ("editor", ["draft", "check", "larchmere-2026.9.0"], "unknown-draft"),
    ("editor", ["draft", "put", "rules/larchmere/2026.1.0", "--over", "3"], "draft-changed"),
    ("editor", ["draft", "put", "rules/larchmere/2026.1.0"], "draft-exists"),
    ("editor", ["draft", "prove", "larchmere-2026.1.0"], "not-checked"),
    ("editor", ["draft", "put", "empty/2026.1.0"], "no-files"),
    ("editor", ["draft", "put", "latin/2026.1.0"], "bad-text"),
    ("editor", ["draft", "put", "rules/larchmere/2026.1.0", "--reason", "two\nlines"], "bad-reason"),
    ("approver", ["draft", "approve", "larchmere-2026.1.0", "--revision", "2"], "draft-changed"),
    ("approver", ["draft", "release", "larchmere-2026.1.0", "--revision", "1"], "not-checked"),
    ("nobody", ["draft", "list"], "no-key"),
    ("unknown", ["draft", "list"], "key-not-accepted"),
]


def test_what_cannot_be_done_is_said_and_changes_nothing(
    keys: dict[str, str], monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    Path("latin/2026.1.0").mkdir(parents=True)
    Path("latin/2026.1.0/edition.yaml").write_bytes(b"title: \xe4\n")
    Path("empty/2026.1.0").mkdir(parents=True)
    assert run(["draft", "put", "rules/larchmere/2026.1.0"], keys["editor"], monkeypatch, capsys)[0] == 0
    people = {**keys, "nobody": "", "unknown": f"lt_{'0' * 12}_{'0' * 64}"}
    for role, command, code in REFUSED:
        status, text = run(command, people[role], monkeypatch, capsys)
        assert (status, re.findall(r"error\[([a-z-]+)\]", text)) == (2, [code]), text
        assert "Traceback" not in text
    _, text = run(["draft", "list"], keys["editor"], monkeypatch, capsys)
    assert "larchmere-2026.1.0  draft  revision 1" in text
