from dataclasses import replace

from limbtier.governance.checks.lists.unused_setting import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import arrange, with_then


def test_a_setting_whose_rule_writes_the_interval_out_is_found(bench: Bench) -> None:
    written_out = with_then(bench.core, "venous-referral", arrange=(arrange("vein_service"),))
    assert bench.new(CHECK, written_out) == [("setting", "vein_service_referral")]


def test_a_setting_that_the_engine_reads_is_used(bench: Bench) -> None:
    settings = {name: one for name, one in bench.core.settings.items() if name.startswith("review_")}
    assert settings
    assert bench.new(CHECK, replace(bench.core, settings=settings)) == []
