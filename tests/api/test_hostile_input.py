"""Whatever is sent: a clear problem that names every place, no tier, and nothing stored."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from typing import Any

import orjson
import pytest

from tests.api.service import JSON, MOST_BODY_BYTES, Finding, Service, first_contact, problem_of

Change = dict[str, Any]
PATHS = ("/v1/previews", "/v1/decisions")


def refused(
    service: Service, body: bytes | Change, code: str, status: int, headers: dict[str, str] | None = None
) -> list[Finding]:
    """What both resources say, which must be the same; nothing may have been stored."""
    before = service.log.size
    found = [problem_of(service.post(path, body, headers), code, status) for path in PATHS]
    assert found[0] == found[1]
    assert service.log.size == before
    return found[0]


def contact(person: Change | None = None, left: Change | None = None, **top: Any) -> Change:
    """The invented first contact with some answers changed."""
    changed = {**first_contact(), **top}
    changed["person"] = {**changed["person"], **(person or {})}
    changed["limbs"] = {"left": {**changed["limbs"]["left"], **(left or {})}}
    return changed


def with_text(name: str, text: str) -> bytes:
    """The invented first contact in which one answer is this JSON text, as no library would write it."""
    plain = contact(person={name: "HERE"})
    return orjson.dumps(plain).replace(b'"HERE"', text.encode())


# Bodies that are no JSON with one meaning.


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b" ",
        b"nonsense",
        b"{'person': {}}",
        b'{"person": {}',
        b'{"person": {}} {}',
        b"\xef\xbb\xbf{}",
        b'{"calendar": "\xff\xfe"}',
        '{"calendar": "england"}'.encode("utf-16"),
        b"\x00" * 40,
        b'{"calendar": "eng\x00land"}',
        b"<assessment/>",
        b"[" * 60_000,
        b'{"a":' * 10_000 + b"1" + b"}" * 10_000,
    ],
    ids=lambda body: repr(body[:24]),
)
def test_a_body_that_is_no_json_is_refused(shared_service: Service, body: bytes) -> None:
    assert [code for code, _ in refused(shared_service, body, "not-json", 400)] == ["not-json"]


@pytest.mark.parametrize("text", ["NaN", "Infinity", "-Infinity", "1e999999999999999999999", "9" * 5000])
def test_a_number_that_is_no_measurement_is_no_json(shared_service: Service, text: str) -> None:
    found = refused(shared_service, with_text("weight_gain_kg_over_2_days", text), "not-json", 400)
    assert found == [("not-json", "#")]


def test_every_key_that_stands_twice_is_named(shared_service: Service) -> None:
    body = (
        b'{"assessed_at":"2026-03-02T09:30:00Z","calendar":"england","calendar":"wales",'
        b'"person":{"diabetes":true,"diabetes":false},"limbs":{"left":{"leaking":true}}}'
    )
    found = refused(shared_service, body, "not-json", 400)
    assert sorted(found) == [("not-json", "#/calendar"), ("not-json", "#/person/diabetes")]


def test_half_of_a_surrogate_pair_is_refused_where_it_stands(shared_service: Service) -> None:
    body = orjson.dumps(contact(person={"mobility": "HERE"})).replace(b"HERE", b"\\ud800")
    assert refused(shared_service, body, "not-json", 400) == [("not-json", "#/person/mobility")]


def test_deep_nesting_in_one_answer_is_refused(shared_service: Service) -> None:
    deep: Any = 1
    for _ in range(30):
        deep = {"deeper": deep}
    assert refused(shared_service, contact(person={"diabetes": deep}), "not-json", 400)


@pytest.mark.parametrize("body", [b"[]", b"1", b'"text"', b"null", b"true", b"[{}]"])
def test_json_that_is_no_object_is_refused(shared_service: Service, body: bytes) -> None:
    assert refused(shared_service, body, "invalid-assessment", 422) == [("wrong-type", "#")]


# Bodies that are too long, or said to be something else.


def asked(service: Service, headers: list[tuple[bytes, bytes]], pieces: Iterator[bytes]) -> list[Any]:
    """What the application sends for a body that comes in pieces, without a client between."""
    sent: list[Any] = []
    token = b"Bearer " + service.keys.everything.encode()
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": "/v1/decisions",
        "raw_path": b"/v1/decisions",
        "root_path": "",
        "query_string": b"",
        "headers": [(b"authorization", token), (b"content-type", b"application/json"), *headers],
    }

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": next(pieces), "more_body": True}

    async def send(message: Any) -> None:
        sent.append(message)

    asyncio.run(service.app(scope, receive, send))
    return sent


def test_a_body_declared_too_long_is_refused_without_being_read(shared_service: Service) -> None:
    def unread() -> Iterator[bytes]:
        yield from ()
        pytest.fail("the body was read")

    start, body = asked(shared_service, [(b"content-length", b"10000000")], unread())
    assert start["status"] == 413
    assert (b"connection", b"close") in start["headers"]
    assert orjson.loads(body["body"])["type"] == "/problems/body-too-large"


def test_ten_megabytes_in_pieces_are_refused_as_soon_as_they_are_too_long(shared_service: Service) -> None:
    before = shared_service.log.size
    pieces = iter([b" " * 65_536] * 160)
    start, body = asked(shared_service, [(b"transfer-encoding", b"chunked")], pieces)
    assert start["status"] == 413
    assert orjson.loads(body["body"])["type"] == "/problems/body-too-large"
    assert len(list(pieces)) == 158
    assert shared_service.log.size == before


def test_the_longest_body_allowed_is_read(shared_service: Service) -> None:
    body = orjson.dumps(first_contact())
    assert shared_service.post("/v1/previews", body.ljust(MOST_BODY_BYTES)).status_code == 200
    refused(shared_service, body.ljust(MOST_BODY_BYTES + 1), "body-too-large", 413)


@pytest.mark.parametrize(
    "headers",
    [
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/xml"},
        {"Content-Type": "application/x-www-form-urlencoded"},
        {"Content-Type": "application/json; charset=latin-1"},
        {"Content-Type": "application/jsonx"},
        {"Content-Type": ""},
        {"Content-Type": ";"},
        {"Content-Encoding": "gzip"},
    ],
    ids=str,
)
def test_a_body_of_another_kind_is_refused(shared_service: Service, headers: dict[str, str]) -> None:
    found = refused(shared_service, first_contact(), "unsupported-media-type", 415, headers)
    assert found[0][0] in ("unsupported-media-type", "unsupported-encoding")


def test_a_body_without_a_kind_is_refused(shared_service: Service) -> None:
    answer = shared_service.client.post("/v1/previews", content=orjson.dumps(first_contact()))
    assert problem_of(answer, "unsupported-media-type", 415) == [("unsupported-media-type", None)]


@pytest.mark.parametrize(
    "kind", ["application/json", "APPLICATION/JSON", 'application/json; charset="UTF-8"']
)
def test_json_in_utf_8_is_read_however_it_is_spelt(shared_service: Service, kind: str) -> None:
    assert shared_service.post("/v1/previews", first_contact(), {"Content-Type": kind}).status_code == 200


@pytest.mark.parametrize("length", ["abc", "-1", "1.5", "٣", ""])
def test_a_length_that_is_no_number_is_refused(shared_service: Service, length: str) -> None:
    headers = {**JSON, "Content-Length": length.encode()}
    answer = shared_service.client.post("/v1/previews", content=b"{}", headers=headers)  # type: ignore[arg-type]
    assert problem_of(answer, "malformed-request", 400) == [("bad-header", None)]


# Answers that cannot be used, one at a time.


@pytest.mark.parametrize(
    ("person", "left", "finding"),
    [
        ({"diabetes": "yes"}, {}, ("wrong-type", "#/person/diabetes")),
        ({"diabetes": "true"}, {}, ("wrong-type", "#/person/diabetes")),
        ({"diabetes": 1}, {}, ("wrong-type", "#/person/diabetes")),
        ({"diabetes": None}, {}, ("null-answer", "#/person/diabetes")),
        ({"diabetes": []}, {}, ("wrong-type", "#/person/diabetes")),
        ({"diabetes": "not_done"}, {}, ("wrong-type", "#/person/diabetes")),
        ({"age_years": False}, {}, ("wrong-type", "#/person/age_years")),
        ({"age_years": "70"}, {}, ("wrong-type", "#/person/age_years")),
        ({"age_years": [70]}, {}, ("wrong-type", "#/person/age_years")),
        ({"age_years": {}}, {}, ("wrong-type", "#/person/age_years")),
        ({"age_years": -1}, {}, ("out-of-range", "#/person/age_years")),
        ({"age_years": 70.5}, {}, ("too-many-decimals", "#/person/age_years")),
        ({"age_years": 10**18}, {}, ("out-of-range", "#/person/age_years")),
        ({"arm_pressure_left_mmhg": 0}, {}, ("out-of-range", "#/person/arm_pressure_left_mmhg")),
        ({"arm_pressure_left_mmhg": 301}, {}, ("out-of-range", "#/person/arm_pressure_left_mmhg")),
        ({"arm_pressure_left_mmhg": "not done"}, {}, ("wrong-type", "#/person/arm_pressure_left_mmhg")),
        ({"mobility": "flies"}, {}, ("unknown-choice", "#/person/mobility")),
        ({"mobility": "Walks"}, {}, ("unknown-choice", "#/person/mobility")),
        ({"mobility": "walks\u0000"}, {}, ("unknown-choice", "#/person/mobility")),
        ({"mobility": True}, {}, ("wrong-type", "#/person/mobility")),
        ({"diabetis": True}, {}, ("unknown-input", "#/person/diabetis")),
        ({"leaking": True}, {}, ("misplaced-input", "#/person/leaking")),
        ({"abpi": 0.9}, {}, ("unknown-input", "#/person/abpi")),
        ({"a/b~c": 1}, {}, ("unknown-input", "#/person/a~1b~0c")),
        ({"": 1}, {}, ("unknown-input", "#/person/")),
        ({"__class__": 1}, {}, ("unknown-input", "#/person/__class__")),
        ({}, {"diabetes": True}, ("misplaced-input", "#/limbs/left/diabetes")),
        ({}, {"first_contact_on": "2026-02-30"}, ("impossible-date", "#/limbs/left/first_contact_on")),
        ({}, {"first_contact_on": "02/03/2026"}, ("impossible-date", "#/limbs/left/first_contact_on")),
        ({}, {"first_contact_on": "2026-W10-1"}, ("impossible-date", "#/limbs/left/first_contact_on")),
        ({}, {"first_contact_on": "20260302"}, ("impossible-date", "#/limbs/left/first_contact_on")),
        ({}, {"first_contact_on": "2999-01-01"}, ("future-date", "#/limbs/left/first_contact_on")),
        ({}, {"first_contact_on": "0001-01-01"}, ("out-of-range", "#/limbs/left/first_contact_on")),
        ({}, {"first_contact_on": 20260302}, ("wrong-type", "#/limbs/left/first_contact_on")),
        ({}, {"girth_series_cm": []}, ("wrong-type", "#/limbs/left/girth_series_cm")),
        ({}, {"girth_series_cm": [25.0]}, ("wrong-type", "#/limbs/left/girth_series_cm")),
        ({}, {"girth_series_cm": [25.0] * 41}, ("wrong-type", "#/limbs/left/girth_series_cm")),
        ({}, {"girth_series_cm": [25.0, None]}, ("wrong-type", "#/limbs/left/girth_series_cm")),
        ({}, {"girth_series_cm": [25.0, 1000]}, ("out-of-range", "#/limbs/left/girth_series_cm")),
        ({}, {"girth_series_cm": 25.0}, ("wrong-type", "#/limbs/left/girth_series_cm")),
    ],
    ids=str,
)
def test_an_answer_that_cannot_be_used_is_named(
    shared_service: Service, person: Change, left: Change, finding: Finding
) -> None:
    assert refused(shared_service, contact(person, left), "invalid-assessment", 422) == [finding]


@pytest.mark.parametrize("text", ["1e400", "1e-400", "-1e99999", "1" * 4000, "0." + "1" * 4000])
def test_a_number_far_outside_costs_nothing_and_is_named(shared_service: Service, text: str) -> None:
    found = refused(shared_service, with_text("weight_gain_kg_over_2_days", text), "invalid-assessment", 422)
    assert [place for _, place in found] == ["#/person/weight_gain_kg_over_2_days"]
    assert found[0][0] in ("out-of-range", "too-many-decimals")


def test_answers_that_contradict_one_another_are_named(shared_service: Service) -> None:
    changed = contact(person={"heart_failure_status": "none"})
    found = refused(shared_service, changed, "invalid-assessment", 422)
    assert {code for code, _ in found} == {"contradicting-answer"}
    assert ("contradicting-answer", "#/person/nyha_class") in found


# The fields around the answers.


@pytest.mark.parametrize(
    ("change", "finding"),
    [
        ({"calendar": "france"}, ("unknown-choice", "#/calendar")),
        ({"calendar": None}, ("wrong-type", "#/calendar")),
        ({"calendar": ["england"]}, ("wrong-type", "#/calendar")),
        ({"assessed_at": "2026-03-02"}, ("bad-format", "#/assessed_at")),
        ({"assessed_at": "2026-03-02T09:30:00"}, ("bad-format", "#/assessed_at")),
        ({"assessed_at": "2026-02-30T09:30:00Z"}, ("impossible-date", "#/assessed_at")),
        ({"assessed_at": "2026-03-02T25:30:00Z"}, ("impossible-date", "#/assessed_at")),
        ({"assessed_at": "2026-03-02T09:30:00Z\n"}, ("bad-format", "#/assessed_at")),
        ({"assessed_at": 1772443800}, ("wrong-type", "#/assessed_at")),
        ({"assessed_at": None}, ("wrong-type", "#/assessed_at")),
        ({"episode": None}, ("wrong-type", "#/episode")),
        ({"episode": 1234567890}, ("wrong-type", "#/episode")),
        ({"episode": ""}, ("bad-episode-reference", "#/episode")),
        ({"episode": "ep\u0007isode"}, ("bad-episode-reference", "#/episode")),
        ({"episode": "x" * 65}, ("bad-episode-reference", "#/episode")),
        ({"episode": "943 476 5919"}, ("bad-episode-reference", "#/episode")),
        ({"episode": "9434765919"}, ("bad-episode-reference", "#/episode")),
        ({"episode": "n943-476-5919"}, ("patient-number-refused", "#/episode")),
        ({"episode": "n9434765919"}, ("patient-number-refused", "#/episode")),
        ({"edition": "core-2999.1.0"}, ("unknown-edition", "#/edition")),
        ({"edition": "../../etc/passwd"}, ("bad-format", "#/edition")),
        ({"edition": None}, ("wrong-type", "#/edition")),
        ({"edition": 1}, ("wrong-type", "#/edition")),
        ({"person": []}, ("wrong-type", "#/person")),
        ({"person": None}, ("wrong-type", "#/person")),
        ({"limbs": []}, ("wrong-type", "#/limbs")),
        ({"limbs": {}}, ("no-limb", "#/limbs")),
        ({"limbs": {"left": {}}}, ("empty-limb", "#/limbs/left")),
        ({"limbs": {"left": None}}, ("wrong-type", "#/limbs/left")),
        ({"patient": {}}, ("unknown-field", "#/patient")),
        ({"tier": "strong"}, ("unknown-field", "#/tier")),
    ],
    ids=str,
)
def test_a_field_around_the_answers_is_named(
    shared_service: Service, change: Change, finding: Finding
) -> None:
    found = refused(shared_service, {**first_contact(), **change}, "invalid-assessment", 422)
    assert finding in found
    assert {place for _, place in found} == {finding[1]}


def test_a_patient_number_is_not_repeated_in_the_answer(shared_service: Service) -> None:
    # 943 476 5919 is the example in the NHS Data Dictionary's description of the number (from memory).
    for reference in ("9434765919", "943 476 5919", "943-476-5919", "n943-476-5919", "n9434765919"):
        answer = shared_service.post("/v1/decisions", {**first_contact(), "episode": reference})
        assert answer.status_code == 422
        assert "5919" not in answer.text


@pytest.mark.parametrize("name", ["assessed_at", "calendar", "person", "limbs"])
def test_a_field_that_is_missing_is_named(shared_service: Service, name: str) -> None:
    changed = {key: value for key, value in first_contact().items() if key != name}
    found = refused(shared_service, changed, "invalid-assessment", 422)
    assert ("missing-field", f"#/{name}") in found


def test_a_review_outside_the_bank_holidays_known_is_refused(shared_service: Service) -> None:
    changed = contact(assessed_at="2028-12-31T09:00:00Z")
    del changed["episode"]
    found = refused(shared_service, changed, "invalid-assessment", 422)
    assert found == [("outside-calendar", "#/assessed_at")]


# Many things wrong at once.


def test_everything_that_is_wrong_is_named_at_once(shared_service: Service) -> None:
    body = {
        "assessed_at": "yesterday",
        "calendar": "utopia",
        "episode": "n943-476-5919",
        "extra": 1,
        "person": {"diabetes": "yes", "age_years": 400, "leaking": True},
        "limbs": {
            "left": {"oedema": "huge", "first_contact_on": "2026-13-01", "toe_pressure_mmhg": False},
            "right": {},
            "middle": {},
        },
    }
    assert set(refused(shared_service, body, "invalid-assessment", 422)) == {
        ("bad-format", "#/assessed_at"),
        ("unknown-choice", "#/calendar"),
        ("patient-number-refused", "#/episode"),
        ("unknown-field", "#/extra"),
        ("wrong-type", "#/person/diabetes"),
        ("out-of-range", "#/person/age_years"),
        ("misplaced-input", "#/person/leaking"),
        ("unknown-choice", "#/limbs/left/oedema"),
        ("impossible-date", "#/limbs/left/first_contact_on"),
        ("wrong-type", "#/limbs/left/toe_pressure_mmhg"),
        ("empty-limb", "#/limbs/right"),
        ("unknown-field", "#/limbs/middle"),
    }


def test_thousands_of_faults_are_counted_and_the_first_are_named(shared_service: Service) -> None:
    body = contact(person={f"answer_{number}": 1 for number in range(3000)})
    answer = shared_service.post("/v1/previews", body)
    found = problem_of(answer, "invalid-assessment", 422)
    assert len(found) == 500
    assert answer.json()["detail"].startswith("3000 things are wrong")


def test_control_characters_come_back_as_text_that_can_be_shown(shared_service: Service) -> None:
    answer = shared_service.post("/v1/previews", contact(person={"mobility": "\u001b[31m\u0007<script>"}))
    problem_of(answer, "invalid-assessment", 422)
    assert answer.json()["detail"].isprintable()


# Queries and paths.


@pytest.mark.parametrize("path", PATHS)
def test_a_query_that_nobody_reads_is_refused(service: Service, path: str) -> None:
    found = problem_of(service.post(f"{path}?store=no&store=yes", first_contact()), "invalid-query", 422)
    assert found == [("unknown-parameter", None)]
    assert service.log.size == 0


@pytest.mark.parametrize(
    "decision_id",
    [
        "1",
        "x" * 5000,
        "00000000-0000-4000-8000-000000000000",
        "00000000-0000-4000-8000-00000000000G",
        "00000000-0000-4000-8000-000000000000%0A",
        "'%20OR%201=1",
        "%00",
        "%FF",
        "..%2F..%2Fetc",
    ],
)
def test_a_decision_that_is_not_there_is_not_found(shared_service: Service, decision_id: str) -> None:
    answer = shared_service.client.get(f"/v1/decisions/{decision_id}")
    assert answer.status_code == 404
    problem_of(answer, answer.json()["type"].removeprefix("/problems/"), 404)
