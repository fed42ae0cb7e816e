"""Which kept answers come to an arterial result."""

from __future__ import annotations

from datetime import date

import pytest

from limbtier.domain.episode_state import Given
from limbtier.engine.arterial_test import comes_to_result

WHOLE = {
    "abpi_availability": "measured",
    "dorsalis_pedis_mmhg": "140",
    "posterior_tibial_mmhg": "not_done",
    "ankle_not_compressible": "no",
    "arm_pressure_left_mmhg": "140",
    "arm_pressure_right_mmhg": "not_done",
}


def known(**answers: str | None) -> bool:
    kept = {name: Given(value, date(2026, 3, 2), "entry") for name, value in answers.items() if value}
    return comes_to_result(kept)


def test_a_ratio_of_one_ankle_and_one_arm_is_a_result() -> None:
    assert known(**WHOLE)
    assert known(abpi_availability="reported", reported_abpi="9/10")
    assert known(abpi_availability="measured", ankle_not_compressible="yes")


@pytest.mark.parametrize(
    "gap",
    [
        {"arm_pressure_left_mmhg": "not_done"},
        {"arm_pressure_right_mmhg": None},
        {"dorsalis_pedis_mmhg": "not_done"},
        {"posterior_tibial_mmhg": None},
        {"abpi_availability": None},
        {"ankle_not_compressible": None},
    ],
)
def test_a_test_that_was_begun_is_none(gap: dict[str, str | None]) -> None:
    assert not known(**WHOLE | gap)


def test_nothing_kept_and_a_ratio_that_was_not_done_are_none() -> None:
    assert not known()
    assert not known(abpi_availability="reported", reported_abpi="not_done")
    assert not known(abpi_availability="not_possible", dorsalis_pedis_mmhg="140")
