"""Next questions of forms that anybody can follow."""

from __future__ import annotations

from typing import Any

import orjson
import pytest

from limbtier.engine.form import FormReader
from limbtier.foundation.errors import InvalidAssessment
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.next_questions import FormQuestions

EMPTY = {
    "assessed_at": "2026-03-02T09:30:00Z",
    "calendar": "england",
    "edition": "core-2026.1.0",
    "person": {},
    "limbs": {"left": {}},
}


@pytest.fixture(scope="module")
def forms(rules: ReadyRules) -> FormQuestions:
    return FormQuestions(Decider(rules))


def asked(forms: FormQuestions, **answers: Any) -> dict[str, Any]:
    found: dict[str, Any] = orjson.loads(forms.preview(orjson.dumps({**EMPTY, **answers})))["next_questions"]
    return found


def names(entries: list[dict[str, Any]]) -> list[str]:
    return [entry["input"] for entry in entries]


def answers_of(forms: FormQuestions, rules: ReadyRules, found: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The answers of the starting point to its shortest set, as a request gives them."""
    start = rules.editions["core-2026.1.0"].edition.starting_points[found["starting_point"]]
    wanted = {(entry["input"], entry["limb"]) for entry in found["questions"]}
    return {
        "person": {name: value for name, value in start.person.items() if (name, None) in wanted},
        "limb": {name: value for name, value in start.limb.items() if (name, "left") in wanted},
    }


def test_an_empty_form_asks_for_danger_signs_first_and_for_what_depends_on_others_last(
    forms: FormQuestions, rules: ReadyRules
) -> None:
    found = asked(forms)
    inputs = rules.editions["core-2026.1.0"].edition.vocabulary.inputs
    signs = [name for name, entry in inputs.items() if entry.danger_sign]
    assert set(names(found["questions"])[: len(signs)]) == set(signs)
    waiting = {entry["input"]: entry["after"] for entry in found["questions"] if entry["after"]}
    assert waiting["wound_site"] == ["wound"]
    assert waiting["nyha_class"] == ["heart_failure_status"]
    first = found["questions"][0]
    assert first["settles"]["at_most"] == len(found["questions"])
    assert first["question"] == inputs[first["input"]].question


def test_the_shortest_set_settles_a_first_contact_and_none_of_it_can_be_left_out(
    forms: FormQuestions, rules: ReadyRules
) -> None:
    shortest = asked(forms)["shortest_set"]
    assert shortest["tiers"] == {"left": "mild"}
    assert len(shortest["questions"]) < len(rules.editions["core-2026.1.0"].edition.vocabulary.inputs) / 2
    given = answers_of(forms, rules, shortest)
    whole = orjson.loads(
        forms.preview(orjson.dumps({**EMPTY, "person": given["person"], "limbs": {"left": given["limb"]}}))
    )
    assert whole["next_questions"]["questions"] == []
    assert whole["limbs"]["left"]["tier"] == "mild"
    assert whole["limbs"]["left"]["disposition"] == "start"
    assert whole["limbs"]["left"]["determined"]
    for home, answers in given.items():
        for name in answers:
            fewer = {
                where: {k: v for k, v in of.items() if (where, k) != (home, name)}
                for where, of in given.items()
            }
            left = asked(forms, person=fewer["person"], limbs={"left": fewer["limb"]})
            assert left["questions"], name


def test_after_a_danger_sign_nothing_more_decides_and_the_other_signs_still_arrange(
    forms: FormQuestions,
) -> None:
    found = asked(forms, person={"signs_of_sepsis": True})
    assert found["questions"] == []
    assert found["shortest_set"] is None
    further = {entry["input"]: entry["changes"] for entry in found["further_questions"]}
    assert further["suspected_dvt"] == ["arrangements", "cautions"]
    assert "exudate" in names(found["no_longer_matter"])
    assert found["further_questions"][0]["danger_sign"]


def test_a_leg_that_is_stopped_for_another_reason_is_still_asked_for_danger_signs(
    forms: FormQuestions,
) -> None:
    limbs = {"left": {"vascular_advice": "no_compression"}, "right": {}}
    found = asked(forms, limbs=limbs)
    left = [entry["input"] for entry in found["questions"] if entry["limb"] == "left"]
    assert {"suspected_dvt", "gangrene_or_necrosis", "bleeding_varicose_vein"} <= set(left)
    assert "oedema" not in left
    assert "oedema" in [entry["input"] for entry in found["questions"] if entry["limb"] == "right"]


def test_a_question_about_the_person_is_asked_once_for_both_legs(forms: FormQuestions) -> None:
    found = asked(forms, limbs={"left": {}, "right": {}})
    keys = [(entry["input"], entry["limb"]) for entry in found["questions"]]
    assert len(keys) == len(set(keys))
    assert ("diabetes", None) in keys
    assert {("oedema", "left"), ("oedema", "right")} <= set(keys)
    shortest = [(entry["input"], entry["limb"]) for entry in found["shortest_set"]["questions"]]
    assert ("current_tier", "left") in shortest
    assert ("current_tier", "right") in shortest


def test_a_form_that_is_whole_has_no_question_left(forms: FormQuestions, rules: ReadyRules) -> None:
    start = rules.editions["core-2026.1.0"].edition.starting_points["swollen_at_mild"]
    days = {"first_contact_on", "current_tier_since", "compression_started_on", "arterial_test_on"}
    limb = {
        name: str(value) if name in days and value != "not_done" else value
        for name, value in start.limb.items()
    }
    body = orjson.dumps(
        {**EMPTY, "assessed_at": "2026-03-09T09:30:00Z", "person": start.person, "limbs": {"left": limb}},
        default=float,
    )
    found = orjson.loads(forms.preview(body))["next_questions"]
    assert found["questions"] == []
    assert found["no_longer_matter"] == [] == found["further_questions"]


def test_an_answer_that_contradicts_one_given_is_not_looked_ahead_to(forms: FormQuestions) -> None:
    # A score was given before anybody asked for the kind of pain: no pain is no possible answer then.
    found = asked(forms, limbs={"left": {"pain_score": 3}})
    pain = next(entry for entry in found["questions"] if entry["input"] == "pain_type")
    assert pain["settles"]["at_least"] == 1
    assert "pain_type" in names(found["shortest_set"]["questions"])


def test_a_leg_without_an_answer_is_no_assessment_to_decide(rules: ReadyRules) -> None:
    with pytest.raises(InvalidAssessment, match="has no answer"):
        Decider(rules).preview(orjson.dumps(EMPTY))


def test_every_edition_has_its_own_questions(forms: FormQuestions, rules: ReadyRules) -> None:
    for name, prepared in rules.editions.items():
        found = asked(forms, edition=name, assessed_at="2026-11-02T09:30:00Z")
        listed = names(found["questions"]) + names(found["further_questions"])
        assert set(listed) <= set(prepared.edition.vocabulary.inputs)
        assert found["shortest_set"]["tiers"] == {"left": "mild"}
        assert FormReader(prepared).starting_points.keys() == prepared.edition.starting_points.keys()


def test_what_would_stop_a_leg_is_asked_although_nothing_on_it_needs_compression(
    forms: FormQuestions, rules: ReadyRules
) -> None:
    start = rules.editions["core-2026.1.0"].edition.starting_points["leaking_leg"]
    limb = {
        **{name: value for name, value in start.limb.items() if name != "arterial_graft_or_stent"},
        "oedema": "none",
        "leaking": False,
        "sensation": "reduced",  # reviewed before a graft without advice would be
        "first_contact_on": "2026-03-02",
    }
    for unasked in ("oedema_settles_on_elevation", "oedema_months"):
        del limb[unasked]

    def preview(**more: Any) -> dict[str, Any]:
        body = {**EMPTY, "person": start.person, "limbs": {"left": {**limb, **more}}}
        found: dict[str, Any] = orjson.loads(forms.preview(orjson.dumps(body, default=float)))
        return found

    before = preview()
    assert before["limbs"]["left"]["disposition"] == "not_indicated"
    assert names(before["limbs"]["left"]["questions"]) == ["arterial_graft_or_stent"]
    assert names(before["next_questions"]["questions"]) == ["arterial_graft_or_stent"]
    stopped = preview(arterial_graft_or_stent="bypass_graft")
    assert stopped["limbs"]["left"]["disposition"] == "stop_and_escalate"
