"""Invented words stand for brands here; no product has these names."""

from dataclasses import replace

import pytest

from limbtier.governance.checks.wording.brand_named import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import with_rule, with_then


@pytest.mark.parametrize(
    "sentence",
    [
        "Use two layers of Examplewrap.",
        "Use two layers of ExampleWrap.",
        "ExampleWrap is laid on in two layers.",
        "Lay on examplewrap\u00ae from toes to knee.",
        "Lay on examplewrap (TM) from toes to knee.",
        'Use the bandage called "Examplewrap", then the ExampleTop.',
        "Use EXAMPLEWRAP on a leg like this.",
        "Use a K-Example bandage on it.",
    ],
)
def test_a_brand_is_found_once_or_for_each_of_its_names(sentence: str, bench: Bench) -> None:
    named = bench.new(CHECK, with_then(bench.core, "thin-ankle", caution=(sentence,)))
    assert set(named) == {("rule", "thin-ankle")}


@pytest.mark.parametrize(
    "sentence",
    [
        "Use a Doppler probe. Ask for the New York Heart Association class, then for the ABPI.",
        'The law of Laplace: pressure falls as the girth grows. "Not done" is an answer.',
        "Pressure is in mmHg (Measure it twice). One-phase sounds are written down.",
        "Raise the heel by 2 cm, on Monday 2 March. I agree.",
        "A Doppler's sound; Then the Achilles tendon.",
    ],
)
def test_sentence_beginnings_known_words_and_units_are_no_brands(sentence: str, bench: Bench) -> None:
    assert bench.new(CHECK, with_then(bench.core, "thin-ankle", caution=(sentence,))) == []


def test_an_edition_may_name_its_own_organisation_and_no_other(bench: Bench) -> None:
    named = with_then(bench.core, "thin-ankle", caution=("As agreed in Quillerbeck and West Quillerbeck.",))
    assert bench.new(CHECK, replace(named, name="west_quillerbeck")) == []
    assert bench.new(CHECK, named) != []


def test_the_title_of_a_rule_is_read_too(bench: Bench) -> None:
    assert bench.new(CHECK, with_rule(bench.core, "stent", title="Stent under Examplewrap")) == [
        ("rule", "stent")
    ]
