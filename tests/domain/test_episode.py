"""An episode reference is a pseudonym: whatever could be a national patient number is refused."""

from __future__ import annotations

import pytest
import stdnum.gb.nhs
from hypothesis import given
from hypothesis import strategies as st
from nhs_number.validate import is_valid as is_nhs_number

from limbtier.domain.episode import episode_problem

# Numbers printed as examples in the documentation of the libraries python-stdnum (the first) and nhs-number.
PUBLISHED = ("9434765870", "9434765919", "6541003238")


@pytest.mark.parametrize("number", PUBLISHED)
@pytest.mark.parametrize("form", ["ep-{}", "{}", "ep{}x", "visit.{}.b"])
@pytest.mark.parametrize("separators", ["", "-", ".", "_"])
def test_published_patient_numbers_are_refused_in_every_form(number: str, form: str, separators: str) -> None:
    assert stdnum.gb.nhs.is_valid(number)
    grouped = separators.join((number[:3], number[3:6], number[6:]))
    assert episode_problem(form.format(grouped)) is not None


@given(st.integers(10**8, 10**9 - 1))
def test_whatever_either_library_takes_for_a_patient_number_is_refused(first_nine: int) -> None:
    for check in range(10):
        number = f"{first_nine}{check}"
        if is_nhs_number(number) or stdnum.gb.nhs.is_valid(number):
            problem = episode_problem(f"ep-{number}")
            assert problem is not None
            assert problem[0] == "patient-number-refused"


@given(st.from_regex(r"ep-[0-9]{1,3}[a-z][0-9]{1,6}", fullmatch=True))
def test_a_reference_with_letters_between_short_runs_of_digits_is_accepted(reference: str) -> None:
    assert episode_problem(reference) is None


@pytest.mark.parametrize(
    "reference",
    ["", "9lives", "a b", "ep\n", "ep\x00", "é", "a" * 65, "ep-\u0664\u0665", "../x", "a/b", "-a"],
)
def test_other_characters_lengths_and_beginnings_are_refused(reference: str) -> None:
    problem = episode_problem(reference)
    assert problem is not None
    assert problem[0] == "bad-episode-reference"
