"""The edges of bands: a number at an edge belongs to exactly one of two neighbouring bands."""

import pytest

from limbtier.domain.rule import Conclusions
from limbtier.governance.checks.rules.edges_leave_a_gap import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import and_rule, edges

NOTE = Conclusions(caution=("Made up.",))


@pytest.mark.parametrize(
    ("name", "lower_band", "upper_band", "says"),
    [
        ("toe_brachial_index", {"at_most": "0.5"}, {"at_least": "0.5"}, "exactly 0.5 belongs to two bands"),
        ("toe_brachial_index", {"below": "0.5"}, {"above": "0.5"}, "exactly 0.5 belongs to no band"),
        (
            "toe_brachial_index",
            {"at_most": "0.49"},
            {"at_least": "0.5"},
            "between 0.49 and 0.5 belongs to no band",
        ),
        ("abpi", {"at_most": "0.39"}, {"at_least": "0.4"}, "between 0.39 and 0.4 belongs to no band"),
        ("ankle_girth_cm", {"below": "30"}, {"above": "30"}, "exactly 30 belongs to no band"),
        ("age_years", {"at_most": "40"}, {"at_least": "40"}, "exactly 40 belongs to two bands"),
        ("age_years", {"below": "40"}, {"above": "40"}, "exactly 40 belongs to no band"),
        ("age_years", {"below": "40"}, {"above": "41"}, "between 40 and 41 belongs to no band"),
        ("age_years", {"below": "40"}, {"above": "42"}, None),  # a wide gap is meant
        ("age_years", {"at_most": "39"}, {"at_least": "40"}, None),  # years are whole
        ("ankle_girth_cm", {"at_most": "29.9"}, {"at_least": "30"}, None),  # measured to one decimal
        ("ankle_girth_cm", {"below": "29.9"}, {"at_least": "30"}, "between 29.9 and 30 belongs to no band"),
        ("days_at_current_tier", {"at_most": "20"}, {"at_least": "21"}, None),  # days are whole
        ("toe_brachial_index", {"below": "0.5"}, {"at_least": "0.5"}, None),
        ("toe_brachial_index", {"at_most": "0.5"}, {"above": "0.5"}, None),
        ("toe_brachial_index", {"at_most": "0.4"}, {"at_least": "0.5"}, None),
        ("toe_brachial_index", {"below": "0.5"}, {"at_least": "0.4"}, None),
    ],
    ids=str,
)
def test_two_bands_either_meet_or_are_found(
    name: str, lower_band: dict[str, str], upper_band: dict[str, str], says: str | None, bench: Bench
) -> None:
    edition = and_rule(bench.core, edges(name, **lower_band), NOTE, rule_id="low")
    edition = and_rule(edition, edges(name, **upper_band), NOTE, rule_id="high")
    messages = [message for _, _, message in bench.said(CHECK, edition)]
    if says is None:
        assert messages == []
    else:
        assert len(messages) == 1
        assert messages[0].startswith(f"`{name}` ")
        assert says in messages[0]


def test_a_band_that_ends_just_below_a_band_of_the_core_edition_is_found(bench: Bench) -> None:
    edition = and_rule(bench.core, edges("abpi", at_least="0.5", at_most="0.79"), NOTE)
    assert len(bench.new(CHECK, edition)) == 1
