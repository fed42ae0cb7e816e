"""Which artery, which arm, which answer decides: the arterial measures.

No published six-pressure example was found, so the examples are our own (invented numbers). The rules they
show: the higher ankle artery over the higher arm (Vowden and Vowden, hand-held Doppler assessment).
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest

from limbtier.measures.registry import compute_measures
from limbtier.measures.states import Answer

MEASURED: dict[str, Answer] = {
    "abpi_availability": "measured",
    "dorsalis_pedis_mmhg": Fraction(96),
    "posterior_tibial_mmhg": Fraction(112),
    "ankle_not_compressible": "no",
    "arm_pressure_left_mmhg": Fraction(128),
    "arm_pressure_right_mmhg": Fraction(140),
}
NOT_TESTED: dict[str, Answer] = {
    "dorsalis_pedis_mmhg": "not_asked",
    "posterior_tibial_mmhg": "not_asked",
    "ankle_not_compressible": "not_asked",
    "reported_abpi": "not_asked",
    "arterial_test_on": "not_asked",
}


def measures(answers: dict[str, Answer], **changed: Answer | None) -> dict[str, Answer]:
    merged = {name: value for name, value in {**answers, **changed}.items() if value is not None}
    return compute_measures(merged, date(2026, 3, 2), {})


def test_abpi_is_the_higher_artery_over_the_higher_arm() -> None:
    assert measures(MEASURED) == {
        "ankle_pressure": Fraction(112),
        "arm_pressure": Fraction(140),
        "arm_difference_mmhg": Fraction(12),
        "abpi": Fraction(4, 5),
        "arterial_result": "ratio",
    }


def test_the_order_of_arteries_and_arms_does_not_matter() -> None:
    swapped = measures(
        MEASURED,
        dorsalis_pedis_mmhg=Fraction(112),
        posterior_tibial_mmhg=Fraction(96),
        arm_pressure_left_mmhg=Fraction(140),
        arm_pressure_right_mmhg=Fraction(128),
    )
    assert swapped == measures(MEASURED)


@pytest.mark.parametrize(
    "missing",
    ["dorsalis_pedis_mmhg", "posterior_tibial_mmhg", "arm_pressure_left_mmhg", "arm_pressure_right_mmhg"],
)
def test_abpi_waits_for_all_four_pressures(missing: str) -> None:
    found = measures(MEASURED, **{missing: None})
    assert "abpi" not in found
    assert "arterial_result" not in found


def test_one_artery_or_arm_not_done_leaves_the_other() -> None:
    found = measures(MEASURED, posterior_tibial_mmhg="not_done", arm_pressure_right_mmhg="not_done")
    assert found["ankle_pressure"] == 96
    assert found["arm_pressure"] == 128
    assert found["arm_difference_mmhg"] == "not_done"
    assert found["abpi"] == Fraction(96, 128)


def test_both_arteries_not_done_settle_abpi_whatever_the_arms_will_be() -> None:
    found = measures(
        MEASURED,
        dorsalis_pedis_mmhg="not_done",
        posterior_tibial_mmhg="not_done",
        arm_pressure_left_mmhg=None,
        arm_pressure_right_mmhg=None,
    )
    assert found == {"ankle_pressure": "not_done", "abpi": "not_done", "arterial_result": "none"}


def test_both_arms_not_done_settle_abpi_whatever_the_ankles_will_be() -> None:
    found = measures(
        MEASURED,
        posterior_tibial_mmhg=None,
        arm_pressure_left_mmhg="not_done",
        arm_pressure_right_mmhg="not_done",
    )
    assert found["abpi"] == "not_done"
    assert found["arterial_result"] == "none"


def test_an_incompressible_ankle_decides_whatever_else_is_missing() -> None:
    found = measures({"abpi_availability": "measured", "ankle_not_compressible": "yes"})
    assert found == {"arterial_result": "incompressible"}


def test_an_ankle_that_nobody_said_is_compressible_leaves_the_result_open() -> None:
    found = measures(MEASURED, ankle_not_compressible=None)
    assert found["abpi"] == Fraction(4, 5)
    assert "arterial_result" not in found


@pytest.mark.parametrize("availability", ["not_yet_done", "not_possible", "declined"])
def test_without_a_test_there_is_no_result_and_no_ratio_was_asked_for(availability: str) -> None:
    found = measures({**NOT_TESTED, "abpi_availability": availability})
    assert found == {
        "ankle_pressure": "not_asked",
        "abpi": "not_asked",
        "arterial_result": "none",
        "arterial_test_age_days": "not_asked",
    }


def test_pressures_without_the_question_that_asks_for_them_give_no_ratio() -> None:
    found = measures(MEASURED, abpi_availability=None)
    assert found["ankle_pressure"] == 112
    assert "abpi" not in found
    assert "arterial_result" not in found


@pytest.mark.parametrize(
    ("reported", "read"),
    [
        ("0.80", "0.795"),
        ("0.79", "0.785"),
        ("0.99", "0.985"),
        ("1", "1.005"),
        ("1.30", "1.305"),
        ("1.29", "1.295"),
    ],
)
def test_a_reported_ratio_is_read_to_the_cautious_side(reported: str, read: str) -> None:
    found = measures({"abpi_availability": "reported", "reported_abpi": Fraction(reported)})
    assert found == {"abpi": Fraction(read), "arterial_result": "ratio"}


def test_a_reported_ratio_that_is_missing_is_no_result_yet() -> None:
    assert measures({"abpi_availability": "reported"}) == {}


def test_the_toe_pressure_is_set_against_the_higher_arm() -> None:
    found = measures(MEASURED, toe_pressure_mmhg=Fraction(91))
    assert found["toe_brachial_index"] == Fraction(13, 20)


def test_a_toe_pressure_not_done_settles_its_index_without_arms() -> None:
    assert measures({"toe_pressure_mmhg": "not_done"}) == {"toe_brachial_index": "not_done"}


def test_an_arm_pressure_of_zero_divides_nothing() -> None:
    zero = Fraction(0)
    found = measures(MEASURED, arm_pressure_left_mmhg=zero, arm_pressure_right_mmhg=zero)
    assert "abpi" not in found
    assert "arterial_result" not in found


def test_an_ankle_without_any_pressure_is_a_ratio_of_zero() -> None:
    zero = Fraction(0)
    assert measures(MEASURED, dorsalis_pedis_mmhg=zero, posterior_tibial_mmhg=zero)["abpi"] == 0


def test_the_age_of_the_test_counts_days() -> None:
    assert measures({"arterial_test_on": date(2025, 12, 8)}) == {"arterial_test_age_days": Fraction(84)}
    assert measures({"arterial_test_on": "not_done"}) == {"arterial_test_age_days": "not_done"}
