from dataclasses import replace

from limbtier.governance.checks.upkeep.unused_source import CHECK
from tests.governance.checks.conftest import Bench


def test_a_source_that_neither_a_rule_nor_a_setting_names_is_found(bench: Bench) -> None:
    more = replace(bench.core.sources["sign-120"], id="made-up-guideline")
    edition = replace(bench.core, sources={**bench.core.sources, more.id: more})
    assert bench.new(CHECK, edition) == [("source", "made-up-guideline")]


def test_a_source_that_only_a_setting_names_is_used(bench: Bench) -> None:
    settings = {
        name: replace(setting, sources=(*setting.sources, "made-up-guideline"))
        for name, setting in bench.core.settings.items()
    }
    more = replace(bench.core.sources["sign-120"], id="made-up-guideline")
    edition = replace(bench.core, settings=settings, sources={**bench.core.sources, more.id: more})
    assert bench.new(CHECK, edition) == []
