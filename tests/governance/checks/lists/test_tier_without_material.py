from dataclasses import replace

from limbtier.governance.checks.lists.tier_without_material import CHECK
from tests.governance.checks.conftest import Bench


def test_a_tier_for_which_only_padding_is_chosen_is_found(bench: Bench) -> None:
    materials = {
        name: replace(
            one, tiers=tuple(tier for tier in one.tiers if tier != "strong" or one.kind == "padding")
        )
        for name, one in bench.core.materials.items()
    }
    assert bench.new(CHECK, replace(bench.core, materials=materials)) == [("tier", "strong")]
