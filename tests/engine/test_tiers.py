"""The disposition is read from the table and from nothing else: one example a row, and its order."""

from __future__ import annotations

import itertools

import pytest

from limbtier.engine.tiers import TierRange, disposition

NOTHING_ON, SUPPORT, MILD, MODERATE, STRONG = range(5)


def tiers(
    given: int, highest: int | None = None, *, stopped: bool = False, proposed: int = STRONG
) -> TierRange:
    highest = given if highest is None else highest
    return TierRange(given, highest, max(highest, given), proposed, proposed, stopped)


@pytest.mark.parametrize(
    ("row", "found", "now", "expected"),
    [
        (1, tiers(0, stopped=True), None, "stop_and_escalate"),
        (1, tiers(0, stopped=True, proposed=-1), MILD, "stop_and_escalate"),
        (2, tiers(0, proposed=-1), None, "not_indicated"),
        (2, tiers(0, proposed=-1), MILD, "not_indicated"),
        (3, tiers(0, STRONG), NOTHING_ON, "cannot_decide_yet"),
        (3, tiers(MILD), None, "cannot_decide_yet"),
        (4, tiers(MILD), NOTHING_ON, "start"),
        (4, tiers(SUPPORT, STRONG), NOTHING_ON, "start"),
        (5, tiers(SUPPORT, MODERATE), MODERATE, "cannot_decide_yet"),
        (5, tiers(SUPPORT, STRONG), MILD, "cannot_decide_yet"),
        (6, tiers(SUPPORT, MILD), SUPPORT, "cannot_decide_yet"),
        (7, tiers(SUPPORT, MILD), MODERATE, "step_down"),
        (7, tiers(MILD), STRONG, "step_down"),
        (8, tiers(MILD, STRONG), MILD, "continue"),
        (8, tiers(SUPPORT), SUPPORT, "continue"),
        (9, tiers(STRONG), MILD, "step_up"),
        (9, tiers(MODERATE, STRONG), MILD, "step_up"),
    ],
)
def test_each_row_of_the_table_gives_its_disposition(
    row: int, found: TierRange, now: int | None, expected: str
) -> None:
    assert disposition(found, now, SUPPORT) == expected, f"row {row}"


def test_every_combination_has_exactly_one_row_and_a_start_only_when_nothing_is_on() -> None:
    for given, highest, now, stopped in itertools.product(
        range(5), range(5), (None, *range(5)), (False, True)
    ):
        if given > highest or (stopped and highest):
            continue
        outcome = disposition(tiers(given, highest, stopped=stopped), now, SUPPORT)
        assert (outcome == "start") == (now == NOTHING_ON and given > 0 and not stopped)
        if outcome in ("step_up", "step_down", "continue"):
            assert now is not None
            assert {"step_up": given > now, "step_down": given < now, "continue": given == now}[outcome]
