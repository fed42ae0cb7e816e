"""The words for cards are whole, and what is wrong with such a file is named with its place."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from limbtier.domain.card_words import LONGEST_SUMMARY
from limbtier.domain.decision import DISPOSITIONS
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.rulesets.read_cards import load_cards

RULES = Path(__file__).parents[2] / "rules"
TEXT = (RULES / "cards.yaml").read_text(encoding="utf-8")


def test_the_words_of_the_project_fit_every_disposition_and_are_short_enough(core: PreparedEdition) -> None:
    words = load_cards(RULES)
    assert set(words.indicators) == set(DISPOSITIONS)
    assert words.indicators["stop_and_escalate"] == "critical"
    assert set(words.summaries) == {
        *DISPOSITIONS,
        "danger_sign",
        "other_leg_waits",
        "overdue",
        "no_assessment",
    }
    longest = max((tier.title for tier in core.edition.tiers), key=len)
    for text in words.summaries.values():
        filled = text.replace("{leg}", "Right leg").replace("{tier}", longest)
        assert len(filled.replace("{day}", "28 September 2026")) <= LONGEST_SUMMARY
    assert all(code == reason.code and reason.display for code, reason in words.override_reasons.items())


@pytest.mark.parametrize(
    ("written", "instead", "said"),
    [
        ("  stop_and_escalate: critical", "  stop_and_escalate: warning", "Write `critical`"),
        ("  step_down: warning", "  step_down: urgent", "`step_down` is `urgent`."),
        ("  step_down: warning\n", "", "needs `step_down`"),
        ("  step_down: warning", "  step_dwn: warning", "Did you mean `step_down`?"),
        ("{leg}: step up to {tier}.", "{leg}: step up to {teir}.", "Did you mean `tier`?"),
        ("{leg}: step up to {tier}.", "{leg}: step up to {tier.", "Nothing stands for `{`."),
        ('"No assessment of', '"{leg}: No assessment of', "Nothing stands for `{leg}`."),
        ("code: local_policy", "code: already_done", "The reason `already_done` is given twice"),
        ("code: local_policy", "code: Local policy", "`code` is `Local policy`."),
        ("owner: Clinical lead for", "owner: Dr Invented of", "looks like a person"),
        ("version: 1.0.0", "version: 1", "`version` is `1`."),
        ("topic: Compression of the lower leg\n", "", "needs `topic`"),
        ("override_reasons:", "override_reasons: &all", "`&all` names this text"),
    ],
)
def test_a_file_with_a_fault_is_refused_by_name(
    written: str, instead: str, said: str, tmp_path: Path
) -> None:
    assert written in TEXT
    (tmp_path / "cards.yaml").write_text(TEXT.replace(written, instead, 1), encoding="utf-8")
    with pytest.raises(InvalidRuleFiles) as caught:
        load_cards(tmp_path)
    assert said in str(caught.value)
    assert re.match(r"cards\.yaml:\d+:\d+: error\[", str(caught.value))


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InvalidRuleFiles, match=r"cards\.yaml: error\[missing-file\]"):
        load_cards(tmp_path)
