from dataclasses import replace

from limbtier.governance.checks.reach.material_never_chosen import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import rule_of, with_then


def test_a_material_that_is_avoided_wherever_it_is_chosen_is_found(bench: Bench) -> None:
    avoided = (*rule_of(bench.core, "toes-swollen").then.avoid, "toe_bandage")
    never = with_then(bench.core, "toes-swollen", avoid=avoided)
    assert bench.proved(CHECK, never) == [("material", "toe_bandage")]


def test_a_material_for_a_tier_at_which_its_only_rule_never_applies_is_found(bench: Bench) -> None:
    only_withheld = replace(bench.core.materials["crepe_layer"], tiers=("withhold",))
    materials = {**bench.core.materials, "crepe_layer": only_withheld}
    # It serves withholding, where a leaking leg may come too, so it can be chosen there.
    assert bench.proved(CHECK, replace(bench.core, materials=materials)) == []
