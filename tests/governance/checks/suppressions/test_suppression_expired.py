from dataclasses import replace
from datetime import timedelta

from limbtier.governance.checks.suppressions.suppression_expired import CHECK
from tests.governance.checks.conftest import Bench


def test_a_suppression_holds_to_the_end_of_its_last_day(bench: Bench) -> None:
    one = bench.context.settings.suppressions[0]
    for day, expired in ((one.until, False), (one.until + timedelta(days=1), True)):
        context = replace(bench.context, day=day, suppressions=((one, True),))
        found = list(CHECK.find(bench.core, context))
        assert bool(found) is expired
        assert all((finding.file, finding.line) == (one.file, one.line) for finding in found)
