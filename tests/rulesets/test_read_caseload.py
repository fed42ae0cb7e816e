"""What the due list counts is read strictly: every mistake is named with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from limbtier.domain.pathway import Pathway
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.rulesets.read_caseload import load_caseload_terms
from limbtier.rulesets.read_pathway import load_pathways
from limbtier.rulesets.repository import RuleRepository

RULES = Path(__file__).parents[2] / "rules"
TEXT = (RULES / "caseload.yaml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def pathway() -> Pathway:
    return load_pathways(RULES, RuleRepository(RULES).editions.values())[-1]


def test_the_committed_file_names_rules_of_the_pathway(pathway: Pathway) -> None:
    due, counted = load_caseload_terms(RULES, pathway)
    assert due.assessment_overdue == ("full-assessment-overdue",)
    assert counted.reached_by == (7, 14, 28, 84)


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("support-twice", "support-thrice", "unknown-name"),
        ("support-twice", "mild-without-improvement", "listed-twice"),
        ("ankle_brachial_test", "background", "unknown-name"),
        ("[support, mild]", "[support, none]", "unknown-word"),
        ("[14, 28]", "[14, 28.5]", "bad-number"),
        ("area_weeks: 12", "area_weeks: 105", "out-of-range"),
        ("area_weeks: 12", "area_week: 12", "unknown-key"),
        ("  assessment: ankle_brachial_test\n", "", "missing-key"),
    ],
)
def test_a_mistake_is_named_with_its_place(
    tmp_path: Path, pathway: Pathway, old: str, new: str, code: str
) -> None:
    assert TEXT.count(old) == 1
    (tmp_path / "caseload.yaml").write_text(TEXT.replace(old, new), encoding="utf-8")
    with pytest.raises(InvalidRuleFiles) as caught:
        load_caseload_terms(tmp_path, pathway)
    found = caught.value.diagnostics
    assert [one.code for one in found] == [code]
    assert all(one.file == "caseload.yaml" and one.line and one.help for one in found)


def test_a_missing_file_is_named(tmp_path: Path, pathway: Pathway) -> None:
    with pytest.raises(InvalidRuleFiles) as caught:
        load_caseload_terms(tmp_path, pathway)
    assert [one.code for one in caught.value.diagnostics] == ["missing-file"]
