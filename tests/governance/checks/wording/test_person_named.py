"""The people in these sentences are invented."""

import pytest

from limbtier.governance.checks.wording.person_named import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import with_then


@pytest.mark.parametrize(
    "sentence",
    [
        "Ask Dr Quillerbeck first.",
        "Ask Prof M\u00fcllerbeck first.",
        "Ask Mrs. A. Quillerbeck first.",
        "Agreed by Sister Quillerbeck on the ward.",
        "As Q. Quillerbeck found in her clinic.",
        "Agreed with J.Q. in March.",
        "As Quillerbeck et al found.",
        "Write to wounds@example.org first.",
        "Agreed with JQ in March.",
        "Pad the shin (JQ).",
    ],
)
def test_a_person_is_found(sentence: str, bench: Bench) -> None:
    assert bench.new(CHECK, with_then(bench.core, "thin-ankle", caution=(sentence,))) == [
        ("rule", "thin-ankle")
    ]


@pytest.mark.parametrize(
    "sentence",
    [
        "Ask the nurse, the doctor or the ward sister first. Nurse and doctor decide.",
        "Measure the ABPI. Write it down at 20 mmHg or less.",
        "Take it off. A short walk helps. I agree.",
        "Ask the Nurse Practitioner or the Ward Sister.",
        "Give vitamin A. Then heart failure of class I. See the tables of class A. Then stop.",
        "Use type 3a, e.g. in a spiral, i.e. with half overlap.",
    ],
)
def test_roles_and_known_abbreviations_are_no_people(sentence: str, bench: Bench) -> None:
    assert bench.new(CHECK, with_then(bench.core, "thin-ankle", caution=(sentence,))) == []
