"""Why not higher, why not lower, and what would have changed it: each claim is checked by deciding again."""

from __future__ import annotations

import json
from typing import Any

import pytest

from limbtier.foundation.settings import CHECKOUT
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.explain_decision import explain
from tests.support.records import FIRST_CONTACT, decided

NAMES = ("first_contact.json", "both_legs.json", "follow_up.json", "incomplete_contact.json")


def _body(name: str) -> bytes:
    return (CHECKOUT / "demo_data" / name).read_bytes()


@pytest.fixture(scope="module")
def explanation(rules: ReadyRules) -> dict[str, Any]:
    return explain(decided(rules), rules)


def test_not_higher_names_what_holds_the_leg_and_what_lifts_it(explanation: dict[str, Any]) -> None:
    why = explanation["limbs"]["left"]["why_not_higher"]
    assert [(held["rule"], held["until"]) for held in why["held_by"]] == [
        ("not-measured-no-advice", "arterial_result"),
        ("hf-stable-mild", "good_review"),
    ]
    assert all(held["because"] for held in why["held_by"])


def test_not_lower_names_the_goals_and_that_no_limit_asks_for_less(explanation: dict[str, Any]) -> None:
    why = explanation["limbs"]["left"]["why_not_lower"]
    assert ("goal-swelling", "strong") in {(goal["rule"], goal["tier"]) for goal in why["goals"]}
    assert why["lowest_limit"] == explanation["limbs"]["left"]["tier"]


def test_two_limits_that_hold_together_are_not_blamed_singly(explanation: dict[str, Any]) -> None:
    assert {entry["rule"] for entry in explanation["limbs"]["left"]["without_rule"]} == {"goal-swelling"}


@pytest.mark.parametrize("name", NAMES)
def test_every_answer_change_it_tells_comes_out_as_told(rules: ReadyRules, name: str) -> None:
    body = _body(name)
    told = explain(decided(rules, body), rules)
    assert told["answers"]
    decider = Decider(rules)
    prepared = rules.editions[told["edition"]]
    for change in told["answers"][::3]:
        request = json.loads(body)
        home = request["person"] if change["limb"] is None else request["limbs"][change["limb"]]
        if change["instead"] == "not_recorded":
            del home[change["input"]]
        else:
            home[change["input"]] = _value(prepared.edition.vocabulary.inputs[change["input"]].kind, change)
        for cleared in change["no_longer_asked"]:
            for answers in (request["person"], *request["limbs"].values()):
                answers.pop(cleared, None)
        again = decider.decision(json.dumps(request).encode())[0]
        assert change["outcomes"]
        for side, outcome in change["outcomes"].items():
            limb = again.limbs[side]
            assert outcome == {
                "disposition": limb.disposition,
                "tier": limb.tier,
                "target_tier": limb.target_tier,
                "review_due_on": limb.review.due_on.isoformat(),
            }


def test_a_number_is_moved_to_the_very_edge_of_the_rule(rules: ReadyRules) -> None:
    # The core edition stops at a gain of 1 kg over 2 days; one place before it nothing changes.
    told = explain(decided(rules), rules)
    [up] = [
        one
        for one in told["answers"]
        if one["input"] == "weight_gain_kg_over_2_days" and one["instead"] not in ("not_recorded", "not_done")
    ]
    edge = float(up["instead"])
    decider = Decider(rules)

    def disposition(gain: float) -> str:
        request = json.loads(FIRST_CONTACT)
        request["person"]["weight_gain_kg_over_2_days"] = gain
        return decider.decision(json.dumps(request).encode())[0].limbs["left"].disposition

    assert disposition(edge) == "stop_and_escalate"
    assert disposition(round(edge - 0.1, 1)) == "start"


def test_it_says_that_it_is_no_decision(explanation: dict[str, Any]) -> None:
    assert explanation["kind"] == "explanation"
    assert "not a decision" in explanation["note"]
    assert explanation["caution"]


def _value(kind: str, change: dict[str, Any]) -> Any:
    text = change["instead"]
    if text == "not_done":
        return text
    if kind == "flag":
        return text == "yes"
    if kind == "whole_number":
        return int(text)
    return float(text) if kind == "number" else text
