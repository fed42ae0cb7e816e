"""Every named part of an edition is found in the files, at a line that names it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from limbtier.domain.decision import DISPOSITIONS
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.checks.places import Places
from limbtier.rulesets.read_checks import FoundPart
from tests.governance.checks.conftest import Bench

RULES = CHECKOUT / "rules"


def parts(bench: Bench) -> list[tuple[FoundPart, str]]:
    core, vocabulary = bench.core, bench.core.vocabulary
    named: dict[FoundPart, list[str]] = {
        "arrangement": list(core.arrangements),
        "disposition": list(DISPOSITIONS),
        "fact": list(vocabulary.facts),
        "input": list(vocabulary.inputs),
        "lift": list(vocabulary.lifts),
        "material": list(core.materials),
        "setting": list(core.settings),
        "source": list(core.sources),
        "tier": [tier.name for tier in core.tiers],
        "wording": ["caution", "safety_net", "no_working_day"],
    }
    return [(part, name) for part, names in named.items() for name in names]


def test_every_part_of_the_core_edition_is_found_at_a_line_that_names_it(bench: Bench) -> None:
    places = Places([bench.core], lambda file: (RULES / file).read_bytes())
    for part, name in parts(bench):
        file, line = places.find(part, name)
        assert line is not None, (part, name)
        text = (RULES / file).read_text(encoding="utf-8").splitlines()[line - 1]
        assert name in text, (part, name, file, line)


def test_a_fact_and_a_lift_of_the_same_name_as_a_measure_are_told_apart(bench: Bench) -> None:
    places = Places([bench.core], lambda file: (RULES / file).read_bytes())
    file, line = places.find("lift", "arterial_result")
    before = (RULES / file).read_text(encoding="utf-8").splitlines()[: line or 0]
    assert "lifts:" in before


@pytest.mark.parametrize("data", [None, b"", b"{", b"inputs: [a, b]\n"])
def test_a_file_that_is_gone_or_changed_leaves_the_line_out(data: bytes | None, bench: Bench) -> None:
    places = Places([bench.core], lambda _file: data)
    assert places.find("input", "diabetes") == ("core/2026.1.0/vocabulary.yaml", None)


def test_what_the_edition_itself_does_not_give_is_found_in_the_edition_below(bench: Bench) -> None:
    def read(file: str) -> bytes | None:
        return None if file.startswith("local/") else (RULES / file).read_bytes()

    local = replace(bench.core, name="local")
    file, line = Places([local, bench.core], read).find("source", "sign-120")
    assert file == "core/2026.1.0/sources.yaml"
    assert line is not None
