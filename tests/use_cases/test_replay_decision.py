"""A stored decision is made again by the edition that made it; every difference is told."""

from __future__ import annotations

import dataclasses
import json

import pytest

from limbtier.domain.caller import Caller
from limbtier.foundation.errors import EditionUnavailable
from limbtier.foundation.settings import CHECKOUT
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.replay_decision import MOST_DIFFERENCES, differences, replay, replay_record
from tests.support.records import decided

COHORT = (CHECKOUT / "demo_data" / "assessments.jsonl").read_bytes().splitlines()


def test_every_decision_of_the_demo_cohort_comes_out_the_same(rules: ReadyRules) -> None:
    for line in COHORT[::5]:
        outcome = replay(decided(rules, line), rules)
        assert outcome.same, outcome.differences
        assert outcome.engine == outcome.stored_engine


def test_an_altered_field_is_named_with_what_was_stored_and_what_comes_out(rules: ReadyRules) -> None:
    record = json.loads(decided(rules))
    record["limbs"]["left"]["tier"] = "strong"
    record["limbs"]["left"]["review"]["within_hours"] = 480
    outcome = replay(json.dumps(record).encode(), rules)
    assert not outcome.same
    assert [(item.pointer, item.stored, item.now) for item in outcome.differences] == [
        ("/limbs/left/review/within_hours", "480", "48"),
        ("/limbs/left/tier", '"strong"', '"mild"'),
    ]


def test_a_later_service_is_told_and_is_no_difference(rules: ReadyRules) -> None:
    record = json.loads(decided(rules))
    record["engine"]["service"] = "0.0.1"
    outcome = replay(json.dumps(record).encode(), rules)
    assert outcome.same
    assert replay_record(outcome)["stored_engine"]["service"] == "0.0.1"


@pytest.mark.parametrize("change", [{"id": "core-2020.1.0"}, {"digest": "sha256:" + "0" * 64}])
def test_a_decision_is_never_made_again_by_another_edition(rules: ReadyRules, change: dict[str, str]) -> None:
    record = json.loads(decided(rules))
    record["edition"].update(change)
    with pytest.raises(EditionUnavailable) as caught:
        replay(json.dumps(record).encode(), rules)
    assert "Put the rule files of that edition back" in caught.value.diagnostics[0].help


def test_a_retired_edition_still_replays(rules: ReadyRules) -> None:
    data = decided(rules)
    [(name, prepared)] = [
        (name, one) for name, one in rules.editions.items() if name == json.loads(data)["edition"]["id"]
    ]
    retired = dataclasses.replace(prepared, edition=dataclasses.replace(prepared.edition, status="retired"))
    later = ReadyRules.of([retired], rules.calendars)
    assert later.edition(None, Decider(rules).decision(COHORT[0])[0].decided_at) is None
    assert replay(data, later).same
    assert later.editions[name].edition.status == "retired"


def test_an_assessment_that_can_no_longer_be_read_is_a_failure_and_no_traceback(rules: ReadyRules) -> None:
    record = json.loads(decided(rules))
    record["received"] = record["received"].replace('"england"', '"france"')
    outcome = replay(json.dumps(record).encode(), rules)
    assert not outcome.same
    assert outcome.failure is not None
    assert outcome.failure.startswith("invalid-assessment: ")


def test_differences_name_every_place_and_tell_true_from_one() -> None:
    stored = {"a": [1, 2], "b": True, "c": {"x/y": 1}, "d": None}
    now = {"a": [1, 2, 3], "b": 1, "c": {"x/y": 2}, "e": 0}
    assert [(item.pointer, item.stored, item.now) for item in differences(stored, now)] == [
        ("/a", "[1,2]", "[1,2,3]"),
        ("/b", "true", "1"),
        ("/c/x~1y", "1", "2"),
        ("/d", "null", "absent"),
        ("/e", "absent", "0"),
    ]


def test_no_more_differences_are_listed_than_can_be_read_and_the_rest_is_counted(rules: ReadyRules) -> None:
    record = json.loads(decided(rules))
    for rule in record["limbs"]["left"]["trace"]["rules"]:
        rule["state"] = "altered"
        rule["more"] = 1
    outcome = replay(json.dumps(record).encode(), rules)
    assert len(outcome.differences) == MOST_DIFFERENCES
    assert outcome.more_differences == 2 * len(record["limbs"]["left"]["trace"]["rules"]) - MOST_DIFFERENCES


def test_the_caller_of_the_decision_is_kept(rules: ReadyRules) -> None:
    data = decided(rules, caller=Caller("a-key", "elsewhere", frozenset()))
    assert replay(data, rules).same
