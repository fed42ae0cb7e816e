from dataclasses import replace

from limbtier.governance.checks.lists.unused_material import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import with_then


def test_a_material_that_no_rule_chooses_is_found(bench: Bench) -> None:
    assert bench.new(CHECK, with_then(bench.core, "toes-swollen", choose=())) == [("material", "toe_bandage")]


def test_a_material_that_serves_only_withholding_is_found(bench: Bench) -> None:
    useless = replace(bench.core.materials["crepe_layer"], tiers=("withhold",))
    materials = {**bench.core.materials, "crepe_layer": useless}
    assert bench.new(CHECK, replace(bench.core, materials=materials)) == [("material", "crepe_layer")]
