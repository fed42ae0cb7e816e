"""A sound edition becomes exactly the domain types that its files say."""

from __future__ import annotations

import re
import shutil
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from limbtier.domain.condition import AllOf, AnyOf, EdgeTest, NoneOf, ValueTest
from limbtier.domain.edition import active_edition
from limbtier.domain.interval import Interval, SettingReference
from limbtier.domain.rule import Arrange, Limit, Rule
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.foundation.settings import CHECKOUT
from limbtier.rulesets.loader import load_calendars, load_edition, load_guard_rails, load_released
from limbtier.rulesets.read_released import Released
from limbtier.rulesets.repository import RuleRepository
from tests.rulesets.golden import EDITION, SMALL_RULES, copy_of_small_rules
from tests.rulesets.small import load_small, small_files


def rule(name: str) -> Rule:
    return next(entry for entry in load_small().rules if entry.id == name)


def test_the_head_of_an_edition() -> None:
    edition = load_edition(SMALL_RULES / EDITION, {})
    assert edition.id == "small-2026.1.0"
    assert (edition.status, edition.based_on, edition.guard_rails) == ("draft", None, "1.0.0")
    assert (edition.effective_from, edition.review_by) == (date(2026, 1, 1), date(2027, 1, 1))
    assert [tier.name for tier in edition.tiers] == ["withhold", "support", "mild", "moderate", "strong"]
    assert edition.tiers[1].review_within == Interval("hours", 48)
    assert edition == load_small()


def test_a_setting_has_its_value_of_the_day() -> None:
    settings = load_small().settings
    referral = settings["routine_referral"]
    assert referral.on(date(2026, 6, 30)) == Interval("days", 14)
    assert referral.on(date(2026, 7, 1)) == Interval("days", 10)
    assert settings["girth_interval_cm"].on(date(2026, 1, 1)) == Fraction(4)


def test_edges_are_exact_fractions_and_entries_of_one_mapping_all_hold() -> None:
    assert rule("reduced-supply-no-advice").when == AllOf(
        (
            EdgeTest("abpi", at_least=Fraction(3, 5), below=Fraction(4, 5)),
            ValueTest("vascular_advice", ("none",)),
        )
    )


def test_groups_of_tests() -> None:
    assert rule("severe-ischaemia").when == AnyOf(
        (EdgeTest("abpi", below=Fraction(3, 5)), EdgeTest("toe_pressure_mmhg", below=Fraction(30)))
    )
    assert rule("not-measured").when == AllOf(
        (ValueTest("arterial_result", ("none",)), NoneOf((ValueTest("vascular_advice", ("strong",)),)))
    )


def test_conclusions_reasons_and_where_a_rule_stands() -> None:
    reduced = rule("reduced-supply-no-advice")
    assert reduced.then.limit == Limit("support", "specialist_advice")
    assert reduced.then.arrange == (Arrange("vascular_opinion", SettingReference("routine_referral")),)
    assert reduced.then.avoid == ("hosiery_kit",)
    assert reduced.because == "Below this ratio a specialist decides."
    assert reduced.sources == ("made-up-leaflet", "common-practice")
    assert (reduced.topic, reduced.file, reduced.line) == (
        "Arterial supply",
        "small/2026.1.0/rules/supply.yaml",
        16,
    )
    assert rule("suspected-clot").then.arrange[0].before == ("arterial_test",)


def test_rules_come_in_the_order_of_their_strata_then_of_file_and_place() -> None:
    edition = load_small()
    assert [(entry.id, stratum) for entry, stratum in zip(edition.rules, edition.strata, strict=True)] == [
        ("suspected-clot", 0),
        ("goal-leaking", 0),
        ("established", 0),
        ("severe-ischaemia", 0),
        ("reduced-supply-no-advice", 0),
        ("not-measured", 0),
        ("first-application", 1),
        ("gentle-start", 2),
    ]


def test_an_input_with_its_condition_and_ranges() -> None:
    inputs = load_small().vocabulary.inputs
    arm = inputs["arm_pressure_left_mmhg"]
    assert (arm.scope, arm.kind, arm.unit, arm.may_be_not_done) == ("person", "whole_number", "mmHg", True)
    assert (arm.range.at_most, arm.expected.at_least) == (Fraction(300), Fraction(80))
    assert inputs["reported_abpi"].places == 2
    assert inputs["arterial_test_on"].asked_when == ValueTest("abpi_availability", ("measured", "reported"))
    assert inputs["suspected_clot"].danger_sign
    assert list(inputs)[:2] == ["suspected_clot", "diabetes"]


def test_a_case_starts_from_its_starting_point_without_what_is_withdrawn() -> None:
    case = next(entry for entry in load_small().cases if entry.id == "clot-stops")
    assert case.limb == "right"
    assert case.assessment["person"] == {
        "arm_pressure_left_mmhg": Decimal(140),
        "arm_pressure_right_mmhg": "not_done",
    }
    limb = case.assessment["limbs"]["right"]
    assert list(case.assessment["limbs"]) == ["right"]
    assert limb["suspected_clot"] is True
    assert limb["leaking"] is True
    assert limb["arterial_test_on"] == "2026-02-20"
    assert limb["girth_series_cm"] == [Decimal(22), Decimal("24.5"), Decimal(27)]
    assert "toe_pressure_mmhg" not in limb
    assert case.expect["arrangements"] == {"clot_pathway": "2026-03-02"}
    assert case.expect["review_set_by"] == "suspected-clot"


def test_guard_rails_of_an_edition() -> None:
    rails = load_guard_rails(SMALL_RULES / "guard_rails" / "1.0.0.yaml", load_small())
    assert rails.version == "1.0.0"
    first, second, third, last = rails.rails
    assert first.checks[0].require.review_within == Interval("same_day")
    assert second.checks[0].when == AllOf(())
    assert second.checks[0].require.no_avoided_material
    assert third.checks[0].require.arranged == Arrange("arterial_test", Interval("days_of_first_contact", 14))
    assert (last.relation, last.checks) == ("withdrawing_never_raises", ())


def test_calendars_of_the_four_nations() -> None:
    calendars = load_calendars(SMALL_RULES / "calendars" / "bank_holidays.yaml")
    assert sorted(calendars) == ["england", "northern_ireland", "scotland", "wales"]
    assert not calendars["northern_ireland"].is_working_day(date(2026, 3, 17))
    assert calendars["england"].is_working_day(date(2026, 3, 17))


def test_a_released_edition_loads_only_with_its_own_digest(tmp_path: Path) -> None:
    rules = copy_of_small_rules(tmp_path)
    head = rules / EDITION / "edition.yaml"
    head.write_bytes(head.read_bytes().replace(b"status: draft", b"status: released"))
    with pytest.raises(InvalidRuleFiles, match="released-not-listed") as refused:
        load_edition(rules / EDITION, {})
    [fingerprint] = re.findall(r"sha256:[0-9a-f]{64}", str(refused.value))
    assert load_edition(rules / EDITION, {"small-2026.1.0": fingerprint}).digest == fingerprint
    with pytest.raises(InvalidRuleFiles, match="released-changed"):
        load_edition(rules / EDITION, {"small-2026.1.0": fingerprint[:-1] + "x"})


def test_the_list_of_released_editions(tmp_path: Path) -> None:
    file = tmp_path / "released.yaml"
    digest = "sha256:" + "ab" * 32
    file.write_text(f"editions:\n  - {{edition: core-2026.1.0, digest: {digest}}}\n", encoding="utf-8")
    assert load_released(file) == Released({"core-2026.1.0": digest}, {})


def test_an_edition_is_retired_in_the_list_and_keeps_its_digest(tmp_path: Path) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(CHECKOUT / "rules", rules)
    before = RuleRepository(rules).editions["core-2026.1.0"]
    listed = rules / "released.yaml"
    listed.write_text(
        re.sub(r"(core-2026\.1\.0, digest: \S+)}", r"\1, retired_on: 2027-01-01}", listed.read_text())
    )
    after = RuleRepository(rules).editions["core-2026.1.0"]
    assert (before.status, after.status) == ("released", "retired")
    assert after.digest == before.digest
    assert active_edition(RuleRepository(rules).editions.values(), date(2026, 11, 30), "core") is None


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InvalidRuleFiles, match=r"core/2026\.9\.9: error\[missing-file\]"):
        load_edition(tmp_path / "core" / "2026.9.9", {})


def test_reading_stops_when_too_many_things_are_wrong() -> None:
    flags = "".join(f"      - {{leaking{number}: yes}}\n" for number in range(3000))
    rules = small_files()["rules/steps.yaml"].replace(
        b"when: {leaking: yes}", f"when:\n      any_of:\n{flags}".rstrip().encode()
    )
    with pytest.raises(InvalidRuleFiles) as refused:
        load_small({"rules/steps.yaml": rules})
    assert [entry.code for entry in refused.value.diagnostics] == ["unknown-name"] * 1001 + [
        "too-many-findings"
    ]


def test_diagnostics_of_all_files_come_at_once_in_the_order_of_file_and_line() -> None:
    files = small_files()
    changed = {
        name: files[name].replace(old, new)
        for name, old, new in (
            ("vocabulary.yaml", b"kind: date", b"kind: day"),
            ("rules/steps.yaml", b"tolerance: good", b"tolerance: god"),
            ("cases/stops.yaml", b"tier: support", b"tier: suport"),
            ("tiers.yaml", b"compression: no", b"compression: false"),
        )
    }
    with pytest.raises(InvalidRuleFiles) as refused:
        load_small(changed)
    places = [(entry.file, entry.line) for entry in refused.value.diagnostics]
    assert places == sorted(places)
    assert {file for file, _ in places} == {
        "small/2026.1.0/cases/stops.yaml",
        "small/2026.1.0/rules/steps.yaml",
        "small/2026.1.0/tiers.yaml",
        "small/2026.1.0/vocabulary.yaml",
    }
