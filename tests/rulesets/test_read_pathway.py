"""Pathways are read strictly: every mistake is named at once, with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.rulesets.read_pathway import load_pathways
from limbtier.rulesets.repository import RuleRepository

RULES = Path(__file__).parents[2] / "rules"
TEXT = (RULES / "pathway" / "2026.1.0.yaml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def repository() -> RuleRepository:
    return RuleRepository(RULES)


def _says(tmp_path: Path, repository: RuleRepository, *changes: tuple[str, str]) -> list[tuple[str, int]]:
    text = TEXT
    for old, new in changes:
        assert text.count(old) >= 1, old
        text = text.replace(old, new, 1)
    (tmp_path / "pathway").mkdir()
    (tmp_path / "pathway" / "2026.1.0.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(InvalidRuleFiles) as caught:
        load_pathways(tmp_path, repository.editions.values())
    assert all(one.file == "pathway/2026.1.0.yaml" and one.help for one in caught.value.diagnostics)
    return [(one.code, one.line or 0) for one in caught.value.diagnostics]


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("version: 2026.1.0", "version: 2026.1.1", "folder-disagrees"),
        ("      - diabetes\n", "      - diabets\n", "unknown-name"),
        ("      - diabetes\n", "      - diabetes\n      - diabetes\n", "listed-twice"),
        ("dated_by: arterial_test_on", "dated_by: diabetes", "unknown-name"),
        ("  - kind: advice_given", "  - kind: advice", "unknown-word"),
        ("for: 84 days", "for: 84 dys", "bad-interval"),
        ("support_decisions: {at_least: 2}", "support_decision: {at_least: 2}", "unknown-name"),
        ("      tier: mild\n", "      tier: midl\n", "unknown-value"),
        ("within: 1 working day", "within: 14 days of first contact", "bad-interval"),
        ("sources: [nursing-in-practice-2021]", "sources: [nobody]", "unknown-name"),
        ("  - id: support-twice", "  - id: full-assessment-overdue", "duplicate-id"),
        ("area_factor: 8", "area_factor: many", "bad-number"),
        ("title: Episodes of the core pathway", "titel: Episodes of the core pathway", "unknown-key"),
    ],
)
def test_a_mistake_is_named(
    tmp_path: Path, repository: RuleRepository, old: str, new: str, code: str
) -> None:
    found = _says(tmp_path, repository, (old, new))
    assert [name for name, _ in found] == [code]
    assert all(line > 0 for _, line in found)


def test_all_mistakes_are_named_at_once(tmp_path: Path, repository: RuleRepository) -> None:
    changes = [("      - diabetes\n", "      - diabets\n"), ("tier: mild\n", "tier: midl\n")]
    assert [code for code, _ in _says(tmp_path, repository, *changes)] == ["unknown-name", "unknown-value"]


def test_without_the_folder_there_is_no_pathway(tmp_path: Path, repository: RuleRepository) -> None:
    assert load_pathways(tmp_path, repository.editions.values()) == []


def test_the_digest_is_of_the_bytes(tmp_path: Path, repository: RuleRepository) -> None:
    (tmp_path / "pathway").mkdir()
    file = tmp_path / "pathway" / "2026.1.0.yaml"
    file.write_text(TEXT, encoding="utf-8")
    first = load_pathways(tmp_path, repository.editions.values())[0].digest
    file.write_text(TEXT + "# a remark\n", encoding="utf-8")
    assert load_pathways(tmp_path, repository.editions.values())[0].digest != first
