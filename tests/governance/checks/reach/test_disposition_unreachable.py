from dataclasses import replace

from limbtier.governance.checks.reach.disposition_unreachable import CHECK
from tests.governance.checks.conftest import Bench


def test_without_any_goal_nothing_starts_continues_or_steps(bench: Bench) -> None:
    aimless = replace(
        bench.core,
        rules=tuple(replace(rule, then=replace(rule.then, propose=None)) for rule in bench.core.rules),
    )
    assert bench.proved(CHECK, aimless) == [
        ("disposition", name) for name in ("cannot_decide_yet", "continue", "start", "step_down", "step_up")
    ]
