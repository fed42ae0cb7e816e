import pytest

from limbtier.governance.checks.rules.instruction_never_shown import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import with_then


@pytest.mark.parametrize(
    ("at", "used"),
    [(("withhold",), ()), (("strong",), ("light_bandage_spiral",)), (("withhold",), ("paste_layer",))],
)
def test_technique_for_tiers_at_which_it_is_not_shown_is_found(
    at: tuple[str, ...], used: tuple[str, ...], bench: Bench
) -> None:
    hidden = with_then(bench.core, "mild-by-bandage", instruct_at=at, instruct_with=used)
    assert bench.new(CHECK, hidden) == [("rule", "mild-by-bandage")]


def test_technique_with_a_material_that_no_rule_chooses_is_found(bench: Bench) -> None:
    hidden = with_then(bench.core, "toes-swollen", choose=(), instruct_with=("toe_bandage",))
    assert bench.new(CHECK, hidden) == [("rule", "toes-swollen")]


def test_one_tier_that_one_material_serves_is_enough(bench: Bench) -> None:
    shown = with_then(
        bench.core,
        "mild-by-bandage",
        instruct_at=("mild", "strong"),
        instruct_with=("light_bandage_spiral", "hosiery_kit"),
    )
    assert bench.new(CHECK, shown) == []
