from dataclasses import replace

from limbtier.domain.edition import Edition
from limbtier.governance.checks.lists.added_material_not_avoided import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import changed, rule_of, with_then


def with_material(edition: Edition, name: str, like: str) -> Edition:
    new = replace(edition.materials[like], name=name, title=f"Made up: {name}")
    return changed(replace(edition, materials={**edition.materials, name: new}), "material", "added", name)


def test_new_hosiery_is_found_at_the_rules_that_avoid_all_other_hosiery(bench: Bench) -> None:
    local = with_material(bench.core, "travel_hosiery", "light_hosiery")
    assert bench.new(CHECK, local) == [("rule", "reduced-supply"), ("rule", "wet-or-distorted")]
    for rule in ("reduced-supply", "wet-or-distorted"):
        avoided = (*rule_of(local, rule).then.avoid, "travel_hosiery")
        local = with_then(local, rule, avoid=avoided)
    assert bench.new(CHECK, local) == []


def test_a_new_elastic_bandage_is_found_at_the_rule_that_allows_inelastic_only(bench: Bench) -> None:
    local = with_material(bench.core, "layered_bandage", "multilayer_bandage")
    assert bench.new(CHECK, local) == [("rule", "reduced-supply")]


def test_a_new_inelastic_wrap_is_like_others_that_nothing_avoids(bench: Bench) -> None:
    assert bench.new(CHECK, with_material(bench.core, "night_wrap", "adjustable_wrap")) == []
