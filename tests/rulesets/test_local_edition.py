"""An edition that is based on another comes out whole: the base with its changes made, each remembered."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbtier.domain.edition import Edition
from limbtier.domain.interval import Interval, SettingReference
from limbtier.domain.rule import Limit, Origin, Rule
from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.rulesets.base_order import order_of_bases
from limbtier.rulesets.digest import digest, digest_on_base, files_of
from limbtier.rulesets.loader import load_edition
from limbtier.rulesets.repository import RuleRepository
from tests.rulesets.golden import LOCAL_EDITION, copy_of_local_edition, copy_of_small_rules
from tests.rulesets.small import load_small

LOCAL = "local-2026.1.0"


@pytest.fixture(scope="module")
def local(tmp_path_factory: pytest.TempPathFactory) -> Edition:
    """Return the edition that is based on the small one."""
    rules = copy_of_small_rules(tmp_path_factory.mktemp("local"))
    copy_of_local_edition(rules)
    return RuleRepository(rules).edition(LOCAL)


def rule(edition: Edition, name: str) -> Rule:
    return next(entry for entry in edition.rules if entry.id == name)


def test_the_head_is_its_own_and_the_guard_rails_are_those_of_the_base(local: Edition) -> None:
    assert (local.based_on, local.status, local.title) == (
        "small-2026.1.0",
        "draft",
        "A made-up edition on the small one",
    )
    assert local.guard_rails == load_small().guard_rails


def test_a_rule_is_taken_over_added_replaced_or_gone(local: Edition) -> None:
    assert [entry.id for entry in local.rules] == [
        "suspected-clot",
        "goal-leaking",
        "established",
        "severe-ischaemia",
        "not-measured",
        "dry-leg",
        "worn-at-home",
        "first-application",
        "gentle-start",
    ]
    taken = rule(local, "goal-leaking")
    assert taken.origin == Origin("small-2026.1.0", "given")
    assert replace(taken, origin=None) == rule(load_small(), "goal-leaking")
    added = rule(local, "dry-leg")
    assert added.origin == Origin(LOCAL, "added", "Legs leaked again after a day.", "ward lead")
    assert added.then.review == SettingReference("dry_leg_review")
    replaced = rule(local, "gentle-start")
    assert replaced.then.limit == Limit("mild", "good_review")
    assert replaced.origin == Origin(LOCAL, "replaced", "We are careful.", "diabetes lead")
    assert replaced.file == "local/2026.1.0/rules/steps.yaml"


def test_what_is_not_changed_is_that_of_the_base(local: Edition) -> None:
    small = load_small()
    changed = {"review_change", "dry_leg_review"}
    assert {k: v for k, v in local.settings.items() if k not in changed} == {
        k: v for k, v in small.settings.items() if k not in changed
    }
    assert local.settings["review_change"].values[0].value == Interval("hours", 48)
    assert local.settings["review_change"].title == small.settings["review_change"].title
    assert local.tiers[1].review_within == Interval("hours", 24)
    assert local.tiers[1].intended_pressure == small.tiers[1].intended_pressure
    assert [entry for entry in local.tiers if entry.name != "support"] == [
        entry for entry in small.tiers if entry.name != "support"
    ]
    assert local.materials["short_stretch_bandage"] == small.materials["short_stretch_bandage"]
    assert local.materials["hosiery_kit"].tiers == ("strong",)
    assert local.vocabulary.measures == small.vocabulary.measures


def test_questions_come_after_those_of_the_base_and_answers_after_its_answers(local: Edition) -> None:
    small = load_small().vocabulary
    assert list(local.vocabulary.inputs) == [*small.inputs, "dry_since_yesterday"]
    asked, before = local.vocabulary.inputs["current_tier"], small.inputs["current_tier"]
    assert asked.choices[:-1] == before.choices
    assert asked.choices[-1].counts_as == "mild"
    assert replace(asked, choices=before.choices) == before


def test_wording_is_only_added_to(local: Edition) -> None:
    before = load_small().wording
    assert local.wording.caution == f"{before.caution} This edition is made up."
    assert local.wording.safety_net == (*before.safety_net, "Ring the ward.")
    assert local.wording.dispositions == before.dispositions


def test_cases_of_the_base_are_kept_changed_or_withdrawn_and_start_the_cases_added(local: Edition) -> None:
    cases = {case.id: case for case in local.cases}
    assert list(cases) == ["good-supply-starts-strong", "clot-stops", "diabetes-starts-mild"]
    before = {case.id: case for case in load_small().cases}
    assert cases["clot-stops"] == before["clot-stops"]
    differs = cases["good-supply-starts-strong"]
    assert differs.expect == {**before[differs.id].expect, "review_due_on": "2026-03-04"}
    assert differs.assessment == before[differs.id].assessment
    assert differs.file == "local/2026.1.0/cases/local.yaml"
    assert cases["diabetes-starts-mild"].assessment["person"]["diabetes"] is True
    assert set(local.starting_points) == {"leaking_leg", "dry_leg"}


def test_every_change_is_remembered_with_its_reason_role_place_and_what_was_before(local: Edition) -> None:
    made = {(change.part, change.act, change.name): change for change in local.changes}
    withdrawn = made["rule", "withdrawn", "reduced-supply-no-advice"]
    assert (withdrawn.reason, withdrawn.decided_by) == ("A made-up reason.", "vascular lead")
    assert (withdrawn.file, withdrawn.line, withdrawn.column) == ("local/2026.1.0/rules/supply.yaml", 3, 9)
    assert withdrawn.before == rule(load_small(), "reduced-supply-no-advice")
    assert made["setting", "replaced", "review_change"].before == load_small().settings["review_change"]
    assert made["source", "added", "local-habit"].reason is None
    assert len(made) == len(local.changes) == 21
    needs_reason = [change for change in local.changes if change.act != "added"]
    assert all(change.reason and change.decided_by and change.before for change in needs_reason)


def test_the_digest_covers_the_files_and_the_digest_of_the_base(tmp_path: Path) -> None:
    rules = copy_of_small_rules(tmp_path)
    folder = copy_of_local_edition(rules)
    contents = {name: path.read_bytes() for name, path in files_of(folder).items()}
    small = load_small()
    edition = load_edition(folder, {}, {small.id: small})
    assert edition.digest == digest_on_base(contents, small.digest)
    assert edition.digest != digest(contents)
    wording = rules / "small" / "2026.1.0" / "wording.yaml"
    wording.write_bytes(wording.read_bytes() + b"# one remark more\n")
    assert RuleRepository(rules).edition(LOCAL).digest not in (edition.digest, digest(contents))


def test_a_base_may_have_a_base_and_changes_are_laid_one_over_the_other(tmp_path: Path) -> None:
    rules = copy_of_small_rules(tmp_path)
    copy_of_local_edition(rules)
    folder = rules / "again" / "2026.2.0"
    (folder / "rules").mkdir(parents=True)
    (folder / "CHANGES.md").write_text("## 2026.2.0\n")
    head = (LOCAL_EDITION / "edition.yaml").read_text().split("settings:")[0]
    head = head.replace("edition: local", "edition: again").replace("small-2026.1.0", LOCAL)
    (folder / "edition.yaml").write_text(head.replace("version: 2026.1.0", "version: 2026.2.0"))
    (folder / "rules" / "steps.yaml").write_text(
        "topic: Goals and steps\nwithdraw:\n"
        "  - {id: worn-at-home, reason: No more., decided_by: ward lead}\n"
        "  - {id: not-measured, reason: Made up., decided_by: ward lead}\n"
        "rules:\n"
        "  - id: reduced-supply-no-advice\n    title: Back again\n    when: {current_tier: mild_and_known}\n"
        "    then: {limit: {tier: mild}}\n    because: It came back.\n    sources: [local-habit]\n"
        "    reason: It came back.\n    decided_by: ward lead\n"
    )
    edition = RuleRepository(rules).edition("again-2026.2.0")
    assert edition.based_on == LOCAL
    origins = {entry.id: entry.origin and (entry.origin.edition, entry.origin.act) for entry in edition.rules}
    assert origins == {
        "suspected-clot": ("small-2026.1.0", "given"),
        "goal-leaking": ("small-2026.1.0", "given"),
        "established": ("small-2026.1.0", "given"),
        "severe-ischaemia": ("small-2026.1.0", "given"),
        "dry-leg": (LOCAL, "added"),
        "first-application": ("small-2026.1.0", "given"),
        "gentle-start": (LOCAL, "replaced"),
        "reduced-supply-no-advice": ("again-2026.2.0", "added"),
    }
    assert edition.settings["review_change"].values[0].value == Interval("hours", 48)


def test_an_edition_that_changes_nothing_is_its_base_under_another_name(tmp_path: Path) -> None:
    rules = copy_of_small_rules(tmp_path)
    folder = rules / "same" / "2026.1.0"
    folder.mkdir(parents=True)
    (folder / "CHANGES.md").write_text("## 2026.1.0\n")
    head = (LOCAL_EDITION / "edition.yaml").read_text().split("settings:")[0]
    (folder / "edition.yaml").write_text(head.replace("edition: local", "edition: same"))
    edition, small = RuleRepository(rules).edition("same-2026.1.0"), load_small()
    assert tuple(replace(entry, origin=None) for entry in edition.rules) == small.rules
    for part in ("vocabulary", "tiers", "settings", "sources", "materials", "wording", "cases", "strata"):
        assert getattr(edition, part) == getattr(small, part)
    assert edition.changes == ()


@pytest.mark.parametrize("named", ["small-2026.1.0", "nobody-2026.1.0", "", "small"])
def test_without_its_base_a_local_edition_is_refused(named: str, tmp_path: Path) -> None:
    rules = copy_of_small_rules(tmp_path)
    folder = copy_of_local_edition(rules)
    head = folder / "edition.yaml"
    head.write_text(head.read_text().replace("based_on: small-2026.1.0", f"based_on: {named}"))
    with pytest.raises(InvalidRuleFiles, match=r"base-unknown|missing-value"):
        load_edition(folder, {})


IDS = st.sampled_from("abcdefgh")


@given(st.dictionaries(IDS, st.none() | IDS))
def test_each_edition_comes_once_and_after_its_base_unless_it_hangs_in_a_ring(
    bases: dict[str, str | None],
) -> None:
    order, rings = order_of_bases(bases)
    assert sorted(order) == sorted(bases)
    for edition, base in bases.items():
        if edition in rings:
            ring = rings[edition]
            assert ring[0] == ring[-1] == edition
            assert all(bases[one] == other for one, other in pairwise(ring))
        elif base in bases:
            assert order.index(base) < order.index(edition)


@given(st.dictionaries(st.text("ab/.", min_size=1, max_size=4), st.binary(max_size=6), max_size=3), st.text())
def test_no_set_of_files_alone_has_the_digest_of_a_set_with_a_base(
    files: dict[str, bytes], base: str
) -> None:
    assert digest_on_base(files, base) != digest(files)
