"""What a form asks over HTTP."""

from __future__ import annotations

from typing import Any

import orjson
import pytest

from limbtier.api.openapi import openapi_file
from tests.api.service import Service, first_contact, invented, problem_of
from tests.api.test_openapi import validator

PATH = "/v1/previews?next_questions=true"


@pytest.mark.parametrize("name", ["first_contact.json", "incomplete_contact.json", "both_legs.json"])
def test_the_preview_is_the_same_with_the_next_questions_beside_it(service: Service, name: str) -> None:
    plain = service.post("/v1/previews", invented(name)).json()
    asked = service.post(PATH, invented(name))
    assert asked.status_code == 200
    record = asked.json()
    found = record.pop("next_questions")
    assert {**record, "decided_at": None} == {**plain, "decided_at": None}
    assert set(found) == {"questions", "further_questions", "no_longer_matter", "shortest_set", "note"}
    assert service.log.size == 0
    document: dict[str, Any] = orjson.loads(openapi_file(service.app))
    validator(document, "Preview").validate(asked.json())


def test_a_plain_preview_has_none(shared_service: Service) -> None:
    for path in ("/v1/previews", "/v1/previews?next_questions=false"):
        assert "next_questions" not in shared_service.post(path, first_contact()).json()


def test_only_a_form_may_have_a_leg_without_an_answer(shared_service: Service) -> None:
    empty = {**first_contact(), "person": {}, "limbs": {"right": {}}}
    answer = shared_service.post(PATH, empty)
    assert answer.status_code == 200
    assert {one["limb"] for one in answer.json()["next_questions"]["questions"]} == {None, "right"}
    for path in ("/v1/previews", "/v1/decisions"):
        found = problem_of(shared_service.post(path, empty), "invalid-assessment", 422)
        assert found == [("empty-limb", "#/limbs/right")]


@pytest.mark.parametrize("value", ["yes", "1", "TRUE", "", "true&next_questions=false"])
def test_anything_but_true_or_false_is_refused(shared_service: Service, value: str) -> None:
    answer = shared_service.post(f"/v1/previews?next_questions={value}", first_contact())
    (found,) = problem_of(answer, "invalid-query", 422)
    assert found[0] in ("bad-parameter", "repeated-parameter")


def test_a_bad_form_is_refused_as_any_other_assessment(shared_service: Service) -> None:
    found = problem_of(
        shared_service.post(PATH, {**first_contact(), "limbs": {"left": {"oedema": "huge"}}}),
        "invalid-assessment",
        422,
    )
    assert found == [("unknown-choice", "#/limbs/left/oedema")]
