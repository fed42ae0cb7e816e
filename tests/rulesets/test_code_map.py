"""The code map is read strictly: every fault of the file is named with its place, and none of it is used."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from limbtier.domain.code_map import UNNAMED_BASE, CodeMap, Coding
from limbtier.domain.vocabulary import Vocabulary
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.rulesets.codes import CODES
from limbtier.rulesets.findings import Findings
from limbtier.rulesets.read_code_map import FILE, load_code_map
from limbtier.rulesets.schema import schemas
from limbtier.rulesets.strict_yaml import compose
from tests.rulesets.test_schema import as_text

RULES = Path(__file__).resolve().parents[2] / "rules"
GOOD = """\
base: https://records.invalid/fhir
systems: {own: https://records.invalid/codes}
body_sites:
  left: [{system: own, code: L}]
  right: [{system: own, code: R}]
observations:
  - input: calf_girth_cm
    code: {system: own, code: CG1}
    source: The code list of the site.
"""


@pytest.fixture
def vocabulary(core: PreparedEdition) -> Vocabulary:
    return core.edition.vocabulary


def load(text: str, folder: Path, vocabulary: Vocabulary) -> CodeMap:
    (folder / "code_maps").mkdir()
    (folder / FILE).write_text(text, encoding="utf-8")
    return load_code_map(folder, [vocabulary])


def test_the_shipped_map_is_read_and_fits_its_schema(vocabulary: Vocabulary) -> None:
    code_map = load_code_map(RULES, [vocabulary])
    assert {one.input for one in code_map.observations} == {
        "arm_pressure_left_mmhg",
        "arm_pressure_right_mmhg",
        "dorsalis_pedis_mmhg",
        "posterior_tibial_mmhg",
        "toe_pressure_mmhg",
        "ankle_girth_cm",
        "calf_girth_cm",
    }
    data = as_text(compose((RULES / FILE).read_bytes(), FILE, Findings()))
    jsonschema.Draft7Validator(schemas()["code_map"]).validate(data)


def test_the_shipped_map_takes_no_code_of_loinc_or_snomed_ct_but_those_that_were_seen(
    vocabulary: Vocabulary, shared_data: Path
) -> None:
    """HL7 FHIR R4 4.0.1, example blood-pressure: the only published codes that the map uses."""
    file = shared_data / "standards" / "fhir-r4" / "examples" / "Observation-blood-pressure.json"
    seen = {
        (one["system"], one["code"])
        for concept in (
            json.loads(file.read_text(encoding="utf-8"))["bodySite"],
            *(part["code"] for part in json.loads(file.read_text(encoding="utf-8"))["component"]),
        )
        for one in concept["coding"]
    }
    used = {
        (coding.system, coding.code)
        for one in load_code_map(RULES, [vocabulary]).observations
        for coding in (one.code, one.body_site, one.method)
        if coding is not None and not coding.system.startswith(UNNAMED_BASE)
    }
    assert used <= seen
    assert ("http://loinc.org", "8480-6") in used


def test_a_map_of_a_site_is_read(tmp_path: Path, vocabulary: Vocabulary) -> None:
    code_map = load(GOOD, tmp_path, vocabulary)
    assert code_map.base == "https://records.invalid/fhir"
    assert code_map.body_sites[Coding("https://records.invalid/codes", "L")] == "left"
    assert code_map.observations[0].code == Coding("https://records.invalid/codes", "CG1")


def test_without_a_file_nothing_is_mapped(tmp_path: Path, vocabulary: Vocabulary) -> None:
    assert load_code_map(tmp_path, [vocabulary]) == CodeMap()


ENTRY = """\
  - input: {name}
    code: {{system: own, code: {code}}}
    source: Another.
"""
FAULTS = {
    "an unknown input": (GOOD.replace("calf_girth_cm", "calf_girth"), "unknown-name", 7),
    "an input that is no number": (GOOD.replace("calf_girth_cm", "oedema"), "key-not-for-kind", 7),
    "an unknown system": (
        GOOD.replace("code: {system: own, code: CG1}", "code: {system: owm, code: CG1}"),
        "unknown-name",
        8,
    ),
    "a system that is no URI": (GOOD.replace("https://records.invalid/codes", "codes"), "bad-id", 2),
    "a base with an end stroke": (GOOD.replace("/fhir\n", "/fhir/\n"), "bad-id", 1),
    "a code with a blank": (GOOD.replace("CG1", "CG 1"), "bad-id", 8),
    "a body site of both legs": (GOOD.replace("code: R", "code: L"), "listed-twice", 5),
    "the same code twice": (GOOD + ENTRY.format(name="ankle_girth_cm", code="CG1"), "duplicate-id", 10),
    "a body site with an input of the leg": (
        GOOD + "    body_site: {system: own, code: L}\n",
        "key-not-for-kind",
        10,
    ),
    "a day that is no date": (GOOD + "    dated_by: oedema\n", "key-not-for-kind", 10),
    "an unknown key": (GOOD + "    units: cm\n", "unknown-key", 10),
    "no source": (GOOD.replace("    source: The code list of the site.\n", ""), "missing-key", 7),
    "no base": (GOOD.replace("base: https://records.invalid/fhir\n", ""), "missing-key", 1),
    "a list": ("- 1\n", "wrong-shape", 1),
    "an alias": (GOOD.replace("left: [", "left: &a ["), "yaml-anchor", 4),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_of_the_map_is_named_with_its_line(name: str, tmp_path: Path, vocabulary: Vocabulary) -> None:
    text, code, line = FAULTS[name]
    with pytest.raises(InvalidRuleFiles) as caught:
        load(text, tmp_path, vocabulary)
    found = [(one.code, one.file, one.line) for one in caught.value.diagnostics]
    assert found == [(code, FILE, line)]
    assert code in CODES
    assert caught.value.diagnostics[0].help


def test_the_same_code_may_count_at_two_body_sites(tmp_path: Path, vocabulary: Vocabulary) -> None:
    arms = "".join(
        f"  - input: arm_pressure_{side}_mmhg\n    code: {{system: own, code: AP}}\n"
        f"    body_site: {{system: own, code: {side}_arm}}\n    source: Another.\n"
        for side in ("left", "right")
    )
    assert len(load(GOOD + arms, tmp_path, vocabulary).observations) == 3
