from dataclasses import replace

from limbtier.governance.checks.rules.lift_not_arranged import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import arrange, with_then


def test_a_limit_that_waits_for_the_specialist_while_only_a_test_is_arranged_is_found(bench: Bench) -> None:
    mistaken = with_then(bench.core, "stent", arrange=(arrange("arterial_test"),))
    assert bench.new(CHECK, mistaken) == [("rule", "stent")]
    both = with_then(bench.core, "stent", arrange=(arrange("arterial_test"), arrange("vascular_referral")))
    assert bench.new(CHECK, both) == []


def test_a_lift_of_which_nothing_is_said_is_not_judged(bench: Bench) -> None:
    mistaken = with_then(bench.core, "chair-unexplained", arrange=(arrange("arterial_test"),))
    settings = replace(bench.context.settings, brought_by={})
    assert bench.new(CHECK, mistaken, settings=settings) == []


def test_everything_that_brings_a_lift_is_an_arrangement_or_lift_that_the_core_edition_has(
    bench: Bench,
) -> None:
    for lift, bringing in bench.context.settings.brought_by.items():
        assert lift in bench.core.vocabulary.lifts
        assert set(bringing) <= set(bench.core.arrangements)
