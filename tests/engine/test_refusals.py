"""A decision that cannot be trusted is not given: engines that differ, a guard rail that would break."""

from __future__ import annotations

import dataclasses
import json
import logging
from collections.abc import Mapping
from pathlib import Path

import pytest

from limbtier.domain.assessment import Answer
from limbtier.domain.condition import ALWAYS, ValueTest
from limbtier.domain.interval import Interval
from limbtier.domain.rule import Arrange, GuardCheck, GuardRail, GuardRails, Requirement
from limbtier.engine.prepared import PreparedEdition, prepare_checks
from limbtier.foundation.errors import EnginesDisagree, GuardRailBroken
from limbtier.foundation.settings import CHECKOUT
from limbtier.use_cases.decide import Decider, ReadyRules

FIRST_CONTACT = (CHECKOUT / "demo_data" / "first_contact.json").read_bytes()


class _OtherMatcher:
    """Reads one rule differently."""

    def __init__(self, prepared: PreparedEdition, rule: str) -> None:
        self._prepared = prepared
        self._place = [entry.id for entry in prepared.edition.rules].index(rule)

    def match(self, facts: Mapping[str, Answer]) -> bytes:
        states = bytearray(self._prepared.matcher.match(facts))
        states[self._place] = 2 - states[self._place]
        return bytes(states)


def decider(rules: ReadyRules, changed: PreparedEdition) -> Decider:
    return Decider(ReadyRules.of([changed], rules.calendars))


def with_rail(prepared: PreparedEdition, check: GuardCheck) -> PreparedEdition:
    rail = GuardRail("made-for-this-test", "A safety property made for this test.", (check,), None)
    rails = GuardRails("9.9.9", "", (rail,))
    checks, guards = prepare_checks(rails, prepared.ranks)
    return dataclasses.replace(prepared, guard_rails=rails, guard_checks=checks, guards=guards)


def test_when_the_engines_differ_there_is_no_answer_and_the_rule_is_named(
    rules: ReadyRules, core: PreparedEdition, caplog: pytest.LogCaptureFixture
) -> None:
    matcher = _OtherMatcher(core, "suspected-dvt")
    changed = dataclasses.replace(core, matcher=matcher)
    with caplog.at_level(logging.CRITICAL, "limbtier.alarm"), pytest.raises(EnginesDisagree) as caught:
        decider(rules, changed).preview(FIRST_CONTACT)
    assert "suspected-dvt" in caught.value.diagnostics[0].message
    assert "local policy" in caught.value.diagnostics[0].help
    assert [record.levelname for record in caplog.records] == ["CRITICAL"]


@pytest.mark.parametrize(
    "require",
    [
        Requirement(tier_at_most="support"),
        Requirement(disposition="stop_and_escalate"),
        Requirement(review_within=Interval("same_day")),
        Requirement(arranged=Arrange("full_assessment", Interval("days", 1))),
        Requirement(arranged=Arrange("emergency_care", Interval("days", 28))),
    ],
)
def test_a_decision_that_would_break_a_guard_rail_is_refused_and_raises_an_alarm(
    require: Requirement, rules: ReadyRules, core: PreparedEdition, caplog: pytest.LogCaptureFixture
) -> None:
    changed = with_rail(core, GuardCheck(ALWAYS, (), (), require))
    with caplog.at_level(logging.CRITICAL, "limbtier.alarm"), pytest.raises(GuardRailBroken) as caught:
        decider(rules, changed).preview(FIRST_CONTACT)
    assert "made-for-this-test" in caught.value.diagnostics[0].message
    assert len(caplog.records) == 1


@pytest.mark.parametrize(
    "check",
    [
        GuardCheck(ValueTest("suspected_dvt", ("yes",)), (), (), Requirement(tier_at_most="withhold")),
        GuardCheck(ALWAYS, ("continue",), (), Requirement(tier_at_most="withhold")),
        GuardCheck(ALWAYS, (), ("strong",), Requirement(tier_at_most="withhold")),
        GuardCheck(ALWAYS, ("start",), ("mild",), Requirement(safety_net=True, no_avoided_material=True)),
        GuardCheck(ALWAYS, (), (), Requirement(arranged=Arrange("full_assessment", Interval("days", 14)))),
    ],
)
def test_a_guard_rail_that_does_not_bind_or_is_kept_refuses_nothing(
    check: GuardCheck, rules: ReadyRules, core: PreparedEdition
) -> None:
    assert decider(rules, with_rail(core, check)).preview(FIRST_CONTACT)


def test_a_cap_binds_also_where_its_condition_is_undetermined(
    rules: ReadyRules, core: PreparedEdition
) -> None:
    unanswered = FIRST_CONTACT.replace(b'"end_of_life_care": false,', b"")
    assert unanswered != FIRST_CONTACT
    condition = ValueTest("end_of_life_care", ("yes",))
    cap = GuardCheck(condition, (), (), Requirement(tier_at_most="support"))
    assert decider(rules, with_rail(core, cap)).preview(FIRST_CONTACT)
    with pytest.raises(GuardRailBroken):
        decider(rules, with_rail(core, cap)).preview(unanswered)


def test_every_guard_rail_of_the_core_edition_is_checked_or_says_that_it_compares_two_decisions(
    core: PreparedEdition,
) -> None:
    rails = core.guard_rails.rails
    assert len(rails) == 13
    assert [rail.id for rail in rails if not rail.checks] == [rail.id for rail in rails if rail.relation]
    assert sum(1 for rail in rails if rail.relation) == 2
    assert (Path(CHECKOUT) / "rules" / "guard_rails" / f"{core.guard_rails.version}.yaml").exists()


def test_a_choice_that_counts_as_another_is_that_other_for_the_guard_rails(
    rules: ReadyRules, core: PreparedEdition
) -> None:
    # A local edition might call it so; its own rules do not know it, the guard rails must.
    renamed = {"heart_failure_status": {"stable": "decompensated"}}
    changed = dataclasses.replace(core, counts_as=renamed)
    with pytest.raises(GuardRailBroken):
        decider(rules, changed).preview(FIRST_CONTACT)


def test_a_tier_on_the_leg_that_counts_as_another_is_ranked_as_that_other(
    rules: ReadyRules, core: PreparedEdition
) -> None:
    follow_up = (CHECKOUT / "demo_data" / "follow_up.json").read_bytes()
    changed = dataclasses.replace(core, counts_as={"current_tier": {"mild": "moderate"}})
    as_it_is = json.loads(decider(rules, core).preview(follow_up))["limbs"]["left"]["disposition"]
    as_moderate = json.loads(decider(rules, changed).preview(follow_up))["limbs"]["left"]["disposition"]
    assert (as_it_is, as_moderate) == ("step_up", "continue")
