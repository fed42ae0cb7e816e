"""The pressures of the core edition against published class tables, by the law of Laplace.

Tables restated from: BS 6612 hosiery classes, as charted from a NICE summary (a4medicine.com); RAL-GZ
387/1 (January 2008) medical compression hosiery; the guide pressures of type 3 bandages at an average
ankle of a test laboratory (SMTL Wales); the pressure bands of the international consensus (Partsch and
others, Dermatol Surg 2008;34:600, from memory); modified compression of 20 to 30 mmHg (Lim and others,
Int Wound J 2021;18:822). An average ankle of 23 cm and a padded one of 18 cm are common practice, no
published source.
"""

from __future__ import annotations

import re
from fractions import Fraction

import pytest

from limbtier.domain.edition import Edition, Material
from limbtier.engine.prepared import PreparedEdition
from limbtier.measures.interface_pressure import interface_pressure_mmhg

BRITISH_HOSIERY = {1: (14, 17), 2: (18, 24), 3: (25, 35)}
GERMAN_HOSIERY = {1: (18, 21), 2: (23, 32), 3: (34, 46)}
LIGHT_BANDAGE_AT_MOST = 20  # type 3a
CONSENSUS_EDGES = (20, 40, 60)  # mild below the first, then moderate, strong, very strong
REDUCED = (20, 30)
PADDED_ANKLE, AVERAGE_ANKLE = Fraction(18), Fraction(23)


def edges_in_words(edition: Edition, tier: str) -> list[int]:
    words = next(entry.intended_pressure for entry in edition.tiers if entry.name == tier)
    return [int(number) for number in re.findall(r"\d+", words)]


def pressure(material: Material, girth: Fraction) -> Fraction:
    assert material.layers is not None
    assert material.tension_kgf is not None
    assert material.width_cm is not None
    return interface_pressure_mmhg(
        layers=Fraction(material.layers),
        tension_kgf=material.tension_kgf,
        girth_cm=girth,
        width_cm=material.width_cm,
    )


def test_the_tiers_meet_at_the_edges_of_the_consensus(core: PreparedEdition) -> None:
    low, middle, high = CONSENSUS_EDGES
    assert edges_in_words(core.edition, "mild") == [low]
    assert edges_in_words(core.edition, "moderate")[:2] == [low, middle]
    assert {middle, high} <= set(edges_in_words(core.edition, "strong"))


def test_a_light_bandage_stays_mild_on_a_padded_ankle_also_in_a_figure_of_eight(
    core: PreparedEdition,
) -> None:
    for name in ("light_bandage_spiral", "light_bandage_figure_of_eight", "inelastic_bandage_light"):
        material = core.edition.materials[name]
        assert material.tiers == ("mild",)
        assert 0 < pressure(material, PADDED_ANKLE) <= LIGHT_BANDAGE_AT_MOST
        assert pressure(material, AVERAGE_ANKLE) < pressure(material, PADDED_ANKLE)


def test_a_figure_of_eight_gives_half_as_much_again_as_a_spiral(core: PreparedEdition) -> None:
    spiral = pressure(core.edition.materials["light_bandage_spiral"], AVERAGE_ANKLE)
    crossed = pressure(core.edition.materials["light_bandage_figure_of_eight"], AVERAGE_ANKLE)
    assert crossed / spiral == Fraction(3, 2)


def test_reduced_and_full_inelastic_bandages_reach_their_bands_on_an_average_ankle(
    core: PreparedEdition,
) -> None:
    reduced = pressure(core.edition.materials["inelastic_bandage_reduced"], AVERAGE_ANKLE)
    assert REDUCED[0] < reduced <= REDUCED[1]
    full = pressure(core.edition.materials["inelastic_bandage"], AVERAGE_ANKLE)
    assert CONSENSUS_EDGES[1] <= full < CONSENSUS_EDGES[2]


@pytest.mark.parametrize(
    ("table", "number", "mild_throughout"),
    [
        (BRITISH_HOSIERY, 1, True),
        (BRITISH_HOSIERY, 2, False),
        (GERMAN_HOSIERY, 1, False),
        (GERMAN_HOSIERY, 2, False),
    ],
)
def test_of_the_hosiery_classes_only_the_british_first_is_mild_throughout_so_a_class_needs_its_standard(
    table: dict[int, tuple[int, int]], number: int, mild_throughout: bool, core: PreparedEdition
) -> None:
    [edge] = edges_in_words(core.edition, "mild")
    assert (table[number][1] <= edge) is mild_throughout
    title = core.edition.materials["light_hosiery"].title
    assert str(edge) in title
    assert "standard" in title
