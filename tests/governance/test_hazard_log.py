"""The hazard log is read strictly, points only at what exists, and can be read by people."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from limbtier.domain.hazard import HazardLog, Risk
from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.document import markdown
from limbtier.governance.hazard_log import (
    Evidence,
    hazard_log_record,
    names_of_tests,
    references,
    unknown_references,
)
from limbtier.governance.hazard_log_text import hazard_document, hazard_list
from limbtier.rulesets.read_hazards import load_hazards
from limbtier.use_cases.show_hazards import evidence, show_hazards

RULES = CHECKOUT / "rules"
TESTS = CHECKOUT / "tests"
SMALL = """\
version: 0.1.0
title: A log
statement: It is a template.
sign_off: Awaited.
reviewed_on: 2026-11-25
scales_source: From memory.
severities:
  - {name: small, title: Small, meaning: Little harm.}
  - {name: large, title: Large, meaning: Much harm.}
likelihoods:
  - {name: seldom, title: Seldom, meaning: Seldom happens.}
  - {name: often, title: Often, meaning: Often happens.}
matrix:
  - {likelihood: seldom, ratings: [1, 2]}
  - {likelihood: often, ratings: [2, 3]}
acceptability:
  - {rating: 1, meaning: Good.}
  - {rating: 2, meaning: Bearable.}
  - {rating: 3, meaning: Bad.}
hazards:
  - id: a-hazard
    hazard: Something goes wrong.
    causes: [A cause.]
    effect: Harm.
    initial: {severity: large, likelihood: often}
    controls:
      - text: The service checks it.
        shown_by:
          - {guard_rail: a-rail}
          - {test: "tests/a/test_b.py::test_c"}
    residual: {severity: large, likelihood: seldom}
    left_to_deployer: []
    status: open
"""


@pytest.fixture(scope="module")
def log() -> HazardLog:
    return load_hazards(RULES)


def small_log(folder: Path, text: str = SMALL) -> HazardLog:
    (folder / "hazards.yaml").write_text(text)
    return load_hazards(folder)


def test_everything_that_a_control_points_at_exists(log: HazardLog, core: PreparedEdition) -> None:
    known = evidence(core, TESTS)
    assert {reference.kind for _, reference in references(log)} == {"guard_rail", "proof", "check", "test"}
    assert unknown_references(log, known) == []


def test_every_guard_rail_stands_in_the_way_of_a_hazard(log: HazardLog, core: PreparedEdition) -> None:
    pointed_at = {one.name for _, one in references(log) if one.kind == "guard_rail"}
    assert {rail.id for rail in core.guard_rails.rails} == pointed_at


def test_every_hazard_has_a_control_and_no_control_makes_it_worse(log: HazardLog) -> None:
    for hazard in log.hazards:
        assert hazard.controls, hazard.id
        assert log.rating(hazard.residual) <= log.rating(hazard.initial), hazard.id


def test_the_matrix_never_falls_as_severity_or_likelihood_rises(log: HazardLog) -> None:
    table = [
        [log.rating(Risk(severity.name, likelihood.name)) for severity in log.severities]
        for likelihood in log.likelihoods
    ]
    assert all(row == sorted(row) for row in table)
    assert all(list(column) == sorted(column) for column in zip(*table, strict=True))
    assert {rating for row in table for rating in row} == set(log.acceptability)


def test_it_is_a_template_that_claims_nothing_and_awaits_sign_off(log: HazardLog) -> None:
    assert "template" in log.title
    assert "claims compliance with no standard" in " ".join(log.statement.split())
    assert log.sign_off.startswith("Awaited.")
    assert {hazard.status for hazard in log.hazards} == {"open"}


@pytest.fixture(scope="module")
def page(core: PreparedEdition) -> str:
    """The page, as the command prints it beside an edition."""
    return show_hazards(RULES, core.edition.name, core.edition.id, TESTS, "html")


def test_every_form_names_edition_statement_and_every_hazard(
    page: str, log: HazardLog, core: PreparedEdition
) -> None:
    shown = log, core.edition, core.guard_rails
    for text in (page, hazard_list(*shown), markdown(hazard_document(*shown))):
        for words in (core.edition.id, core.edition.digest, core.guard_rails.version, "Awaited."):
            assert words in text
        assert "claims compliance with no standard" in text
        for hazard in log.hazards:
            assert hazard.id in text


def test_the_page_and_the_markdown_hold_every_control_and_what_shows_it(
    page: str, log: HazardLog, core: PreparedEdition
) -> None:
    text = markdown(hazard_document(log, core.edition, core.guard_rails))
    for _, reference in references(log):
        assert f"<code>{reference.name}</code>" in page
        assert reference.name.replace("_", "") in text.replace("\\_", "").replace("_", "")


def test_the_list_shows_both_ratings(tmp_path: Path, core: PreparedEdition) -> None:
    text = hazard_list(small_log(tmp_path), core.edition, core.guard_rails)
    assert "a-hazard: rating 3 without controls, 2 with 1 control; open" in text


def test_the_record_holds_the_matrix_and_both_ratings(tmp_path: Path, core: PreparedEdition) -> None:
    record = hazard_log_record(small_log(tmp_path), core.edition, core.guard_rails)
    assert record["matrix"] == [
        {"likelihood": "seldom", "ratings": [1, 2]},
        {"likelihood": "often", "ratings": [2, 3]},
    ]
    [hazard] = record["hazards"]
    assert hazard["initial"]["rating"] == 3
    assert hazard["residual"]["rating"] == 2
    assert hazard["controls"][0]["shown_by"] == [
        {"guard_rail": "a-rail"},
        {"test": "tests/a/test_b.py::test_c"},
    ]


def test_a_reference_to_nothing_is_named_with_its_place_and_the_closest(tmp_path: Path) -> None:
    known = Evidence(frozenset({"a-raill"}), frozenset(), frozenset(), frozenset())
    found = unknown_references(small_log(tmp_path), known)
    assert [(item.place(), item.help) for item in found] == [
        ("hazards.yaml:29:26", "Did you mean `a-raill`?"),
        ("hazards.yaml:30:20", "Name one that exists, or take the control out."),
    ]


def test_what_cannot_be_looked_at_is_not_called_missing(tmp_path: Path) -> None:
    known = Evidence(frozenset({"a-rail"}), None, frozenset(), names_of_tests(tmp_path / "none"))
    assert unknown_references(small_log(tmp_path), known) == []


def test_tests_are_found_by_file_and_name(tmp_path: Path) -> None:
    folder = tmp_path / "tests" / "a"
    folder.mkdir(parents=True)
    (folder / "test_b.py").write_text("def test_c() -> None: ...\n\ndef helper() -> None: ...\n")
    (folder / "other.py").write_text("def test_d() -> None: ...\n")
    assert names_of_tests(tmp_path / "tests") == frozenset({"tests/a/test_b.py::test_c"})


@pytest.mark.parametrize(
    ("written", "instead", "said"),
    [
        ("severity: large, likelihood: often", "severity: lage, likelihood: often", "Did you mean `large`?"),
        ("likelihood: seldom}", "likelihood: never}", "There is no likelihood `never`."),
        ("ratings: [2, 3]", "ratings: [2]", "The row has 1 ratings for 2 severities."),
        ("  - {likelihood: often, ratings: [2, 3]}\n", "", "The matrix has no row for `often`."),
        ("  - {rating: 3, meaning: Bad.}\n", "", "Nothing says what a rating of 3 means."),
        ("rating: 2, meaning", "rating: 1, meaning", "`1` is listed twice."),
        ("{guard_rail: a-rail}", "{guard_rail: a-rail, proof: a-proof}", "The reference names 2 things."),
        ("{guard_rail: a-rail}", "{}", "The reference names nothing."),
        ("tests/a/test_b.py::test_c", "test_b.py", "`test` is `test_b.py`."),
        ("status: open", "status: done", "`status` is `done`."),
        ("    effect: Harm.\n", "", "A hazard needs `effect`."),
        ("    effect: Harm.\n", "    effect: Harm.\n    risk: 3\n", "A hazard has no key `risk`."),
        ("sign_off: Awaited.\n", "sign_off: ~\n", "`sign_off` has no value."),
        ("    controls:\n", "    controls: &all\n", "`&all` names this text"),
        ("name: large", "name: small", "The severity `small` is given twice"),
    ],
)
def test_a_log_with_a_fault_is_refused_by_name(written: str, instead: str, said: str, tmp_path: Path) -> None:
    assert written in SMALL
    with pytest.raises(InvalidRuleFiles) as caught:
        small_log(tmp_path, SMALL.replace(written, instead, 1))
    assert said in str(caught.value)
    assert re.match(r"hazards\.yaml:\d+:\d+: error\[", str(caught.value))


def test_two_hazards_of_one_id_are_refused(tmp_path: Path) -> None:
    entry = SMALL[SMALL.index("  - id: a-hazard") :]
    with pytest.raises(InvalidRuleFiles, match="The hazard `a-hazard` is given twice"):
        small_log(tmp_path, SMALL + entry)


def test_a_log_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InvalidRuleFiles, match=r"hazards\.yaml: error\[missing-file\]"):
        load_hazards(tmp_path)
