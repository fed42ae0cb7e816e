from dataclasses import replace

from limbtier.governance.checks.suppressions.suppression_unused import CHECK
from tests.governance.checks.conftest import Bench


def test_a_suppression_is_found_exactly_when_it_met_nothing(bench: Bench) -> None:
    one, other = bench.context.settings.suppressions[:2]
    context = replace(bench.context, suppressions=((one, True), (other, False)))
    [finding] = CHECK.find(bench.core, context)
    assert finding.line == other.line
    assert f"`{other.name}`" in finding.message
