"""A new local edition loads as it is written, and so does every example in its remarks."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest

from limbtier.cli import main
from limbtier.domain.edition import Edition
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.rule_text import rule_lines
from limbtier.governance.scaffold import NoNewEdition, new_edition, scaffold
from limbtier.rulesets.loader import read_edition
from limbtier.rulesets.repository import RuleRepository
from tests.rulesets.golden import SMALL_RULES, copy_of_small_rules

TODAY = date(2026, 11, 25)
BASES = ("core-2026.1.0", "quillerbeck-2026.1.0", "small-2026.1.0")
Captured = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def editions() -> dict[str, Edition]:
    """Return the editions that a new one may be based on here."""
    found: dict[str, Edition] = {}
    for rules in (CHECKOUT / "rules", SMALL_RULES):
        found.update(RuleRepository(rules).editions)
    return found


def uncommented(text: str) -> str:
    """A file with the # taken from every line that begins with one, as its remarks tell to."""
    lines = [line for line in text.split("\n") if "$schema" not in line]
    return "\n".join(
        line[2:] if line.startswith("# ") and "no real assessment" not in line else line for line in lines
    )


@pytest.mark.parametrize("base", BASES)
def test_it_loads_as_it_is_and_changes_nothing_yet(base: str, editions: dict[str, Edition]) -> None:
    files = {
        name: text.encode() for name, text in scaffold(editions[base], "local", "2026.9.0", TODAY).items()
    }
    edition = read_edition("local", "2026.9.0", files, {}, editions)
    assert (edition.id, edition.status, edition.based_on) == ("local-2026.9.0", "draft", base)
    assert (edition.effective_from, edition.review_by) == (TODAY, date(2027, 11, 25))
    assert edition.changes == ()
    assert [rule.id for rule in edition.rules] == [rule.id for rule in editions[base].rules]


@pytest.mark.parametrize("base", BASES)
def test_it_loads_with_every_example_of_its_remarks_in_use(base: str, editions: dict[str, Edition]) -> None:
    files = scaffold(editions[base], "local", "2026.9.0", TODAY)
    used = {name: (uncommented(text) if name.endswith(".yaml") else text) for name, text in files.items()}
    edition = read_edition(
        "local", "2026.9.0", {name: text.encode() for name, text in used.items()}, {}, editions
    )
    acts = {(change.part, change.act) for change in edition.changes}
    assert acts == {
        ("rule", "added"),
        ("rule", "replaced"),
        ("rule", "withdrawn"),
        ("setting", "replaced"),
        ("tier", "replaced"),
        ("material", "replaced"),
        ("arrangement", "replaced"),
        ("wording", "added"),
        ("source", "added"),
        ("input", "added"),
        ("case", "added"),
        ("case", "replaced"),
    }


@pytest.mark.parametrize("base", BASES)
def test_a_rule_written_out_reads_as_the_same_rule(base: str, editions: dict[str, Edition]) -> None:
    edition = editions[base]
    topics = {
        rule.id: f"topic: {rule.topic}\nreplace:\n" + "\n".join(rule_lines(rule, "Other words.")) + "\n"
        "    reason: Made up.\n    decided_by: ward lead\n"
        for rule in edition.rules
    }
    head = scaffold(edition, "local", "2026.9.0", TODAY)
    files = {name: head[name].encode() for name in ("edition.yaml", "CHANGES.md")}
    files |= {f"rules/{name}.yaml": text.encode() for name, text in topics.items()}
    again = read_edition("local", "2026.9.0", files, {}, editions)
    content = {rule.id: (rule.title, rule.when, rule.then, rule.sources) for rule in edition.rules}
    assert {rule.id: (rule.title, rule.when, rule.then, rule.sources) for rule in again.rules} == content
    assert {rule.because for rule in again.rules} == {"Other words."}


@pytest.mark.parametrize(
    ("rule_set", "version", "code"),
    [
        ("../core", "2026.2.0", "bad-name"),
        ("Core", "2026.2.0", "bad-name"),
        ("", "2026.2.0", "bad-name"),
        ("calendars", "2026.2.0", "bad-name"),
        ("guard_rails", "2026.2.0", "bad-name"),
        ("l\u043ecal", "2026.2.0", "bad-name"),
        ("a" * 81, "2026.2.0", "bad-name"),
        ("local", "..", "bad-version"),
        ("local", "2026.2", "bad-version"),
        ("local", "2026.2.0/x", "bad-version"),
        ("small", "2026.1.0", "edition-exists"),
    ],
)
def test_a_name_that_no_edition_may_have_and_one_that_is_there_are_refused(
    rule_set: str, version: str, code: str, tmp_path: Path, editions: dict[str, Edition]
) -> None:
    rules = copy_of_small_rules(tmp_path)
    before = sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*"))
    with pytest.raises(NoNewEdition) as refused:
        new_edition(rules, editions["small-2026.1.0"], rule_set, version, TODAY)
    assert [entry.code for entry in refused.value.diagnostics] == [code]
    assert sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*")) == before


def test_nothing_is_left_behind_where_it_cannot_be_written(
    tmp_path: Path, editions: dict[str, Edition], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_arguments: object, **_more: object) -> int:
        raise OSError(28, "No space left on device")

    rules = copy_of_small_rules(tmp_path)
    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(OSError, match="No space left"):
        new_edition(rules, editions["small-2026.1.0"], "local", "2026.9.0", TODAY)
    assert not (rules / "local").exists()


def test_the_command_begins_an_edition_that_the_check_accepts(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(CHECKOUT / "rules", rules)
    monkeypatch.setenv("LIMBTIER_RULES", str(rules))
    arguments = ["new-edition", "larchmere", "2026.1.0", "--based-on", "core-2026.1.0"]
    assert main(arguments) == 0
    assert f"limbtier check {rules / 'larchmere' / '2026.1.0'}" in capsys.readouterr().out
    assert RuleRepository(rules).edition("larchmere-2026.1.0").based_on == "core-2026.1.0"
    assert main(arguments) == 2
    assert "is there already" in capsys.readouterr().err
    assert main(["new-edition", "other", "2026.1.0", "--based-on", "core-2025.1.0"]) == 2
    assert "Did you mean `core-2026.1.0`" in capsys.readouterr().err
