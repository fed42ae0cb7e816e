"""Episodes over HTTP: contacts completed from what came before, events, corrections, and what is watched."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any

import orjson
import pytest

from limbtier.domain.caller import Caller
from limbtier.store.episodes import EpisodeTable
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.episodes import Episodes, Known
from limbtier.use_cases.follow_up import FollowUps
from limbtier.use_cases.ready_pathway import ready_attention, ready_watch
from tests.api.service import CHECKOUT, Service, bearer, first_contact, problem_of

MEASURED = {
    "abpi_availability": "measured",
    "dorsalis_pedis_mmhg": 140,
    "posterior_tibial_mmhg": 138,
    "ankle_not_compressible": False,
    "arterial_test_on": "2026-03-05",
}
ARMS = {"arm_pressure_left_mmhg": 138, "arm_pressure_right_mmhg": 140}
KEPT = ("diabetes", "mobility", "can_report_problems", "can_manage_garments")
NOT_ASKED_AGAIN = (
    "abpi_availability",
    "sensation",
    "claudication",
    "known_arterial_disease",
    "first_contact_on",
    "current_tier",
    "start_girth_series_cm",
)


def _first(episode: str = "ep-plover-1") -> dict[str, Any]:
    return {**first_contact(), "episode": episode}


def _next(at: str, **answers: object) -> dict[str, Any]:
    """A contact that answers only what must be asked again."""
    contact = _first()
    leg = {name: value for name, value in contact["limbs"]["left"].items() if name not in NOT_ASKED_AGAIN}
    return {
        **contact,
        "assessed_at": at,
        "person": {name: value for name, value in contact["person"].items() if name not in KEPT},
        "limbs": {"left": {**leg, "tolerance": "good", "progress": "better", **answers}},
    }


def _decided(service: Service, request: Mapping[str, Any]) -> dict[str, Any]:
    answer = service.post("/v1/decisions", request)
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def _event(service: Service, event: Mapping[str, Any], episode: str = "ep-plover-1") -> dict[str, Any]:
    answer = service.post(f"/v1/episodes/{episode}/events", event)
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def _episode(service: Service, episode: str = "ep-plover-1") -> dict[str, Any]:
    answer = service.client.get(f"/v1/episodes/{episode}")
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def _result(day: str = "2026-03-05", **answers: object) -> dict[str, Any]:
    return {
        "kind": "arterial_result_received",
        "happened_on": day,
        "limb": "left",
        "answers": {**MEASURED, "arterial_test_on": day, **answers},
        "person": ARMS,
    }


def _filled(record: Mapping[str, Any]) -> dict[str, Any]:
    return {one["input"]: one for one in record["episode"]["completed"]}


def test_an_episode_goes_from_the_first_contact_over_an_event_to_strong(service: Service) -> None:
    first = _decided(service, _first())
    assert first["episode"]["completed"] == []
    assert first["limbs"]["left"]["tier"] == "mild"
    event = _event(service, _result())
    second = _decided(service, _next("2026-03-06T10:00:00+00:00"))
    leg = second["limbs"]["left"]
    assert (leg["disposition"], leg["tier"], leg["determined"]) == ("step_up", "moderate", True)
    filled = _filled(second)
    assert filled["dorsalis_pedis_mmhg"]["entry"] == event["id"]
    assert (filled["diabetes"]["scope"], filled["diabetes"]["on"]) == ("person", "2026-03-02")
    assert filled["current_tier"]["value"] == "mild"
    lifted = second["episode"]["lifted_since"]["left"]
    assert "not-measured-no-advice" in {one["rule"] for one in lifted}
    third = _decided(service, _next("2026-03-09T10:00:00+00:00"))
    assert (third["limbs"]["left"]["disposition"], third["limbs"]["left"]["tier"]) == ("step_up", "strong")
    assert _filled(third)["current_tier_since"]["value"] == "2026-03-06"
    known = _episode(service)
    assert (known["contacts"], known["events"]) == (3, 1)
    assert known["limbs"]["left"]["current_tier"] == "strong"
    settled = {one["what"]: one["settled_by"] for one in known["limbs"]["left"]["arrangements"]}
    assert settled["full_assessment"] == second["id"]
    assert [one["kind"] for one in known["history"]] == [
        "contact",
        "contact",
        "arterial_result_received",
        "contact",
    ]


def test_a_follow_up_is_made_again_from_its_record_alone(service: Service) -> None:
    _decided(service, _first())
    _event(service, _result())
    record = _decided(service, _next("2026-03-06T10:00:00+00:00"))
    answer = service.client.post(f"/v1/decisions/{record['id']}/replays")
    assert answer.json()["same"] is True
    explained = service.client.get(f"/v1/decisions/{record['id']}/explanation")
    assert explained.json()["limbs"]["left"]["tier"] == record["limbs"]["left"]["tier"]
    assert orjson.loads(record["received"])["limbs"]["left"].keys().isdisjoint(NOT_ASKED_AGAIN)


def test_the_same_answers_given_by_hand_come_to_the_same_decision(service: Service) -> None:
    _decided(service, _first())
    _event(service, _result())
    request = _next("2026-03-06T10:00:00+00:00")
    completed = _decided(service, request)
    by_hand = orjson.loads(orjson.dumps(request))
    del by_hand["episode"]
    by_hand["person"] |= {name: _first()["person"][name] for name in KEPT} | ARMS
    by_hand["limbs"]["left"] |= MEASURED | {
        name: _first()["limbs"]["left"][name]
        for name in ("sensation", "claudication", "known_arterial_disease")
    }
    area = next(
        one["value"] for one in completed["episode"]["completed"] if one["input"] == "start_wound_area_cm2"
    )
    by_hand["limbs"]["left"] |= {
        "first_contact_on": "2026-03-02",
        "current_tier": "mild",
        "current_tier_since": "2026-03-02",
        "compression_started_on": "2026-03-02",
        "start_wound_area_cm2": int(area),
        "start_girth_series_cm": _first()["limbs"]["left"]["girth_series_cm"],
    }
    given = service.post("/v1/previews", by_hand).json()
    assert given["limbs"] == completed["limbs"]


def test_a_preview_is_completed_too_and_keeps_nothing(service: Service) -> None:
    _decided(service, _first())
    preview = service.post("/v1/previews", _next("2026-03-04T10:00:00+00:00")).json()
    assert (preview["id"], preview["episode"]["contacts_before"]) == (None, 1)
    assert _filled(preview)["current_tier"]["value"] == "mild"
    assert _episode(service)["contacts"] == 1


def test_a_stop_is_not_forgotten_when_the_test_cannot_be_repeated(service: Service) -> None:
    _decided(service, _first())
    _event(service, _result(dorsalis_pedis_mmhg=45, posterior_tibial_mmhg=40))
    request = _next(
        "2026-03-06T10:00:00+00:00", abpi_availability="not_possible", toe_pressure_mmhg="not_done"
    )
    record = _decided(service, request)
    leg = record["limbs"]["left"]
    assert (leg["tier"], leg["disposition"]) == ("withhold", "stop_and_escalate")
    assert _filled(record)["abpi_availability"]["instead_of"] == "not_possible"
    replay = service.client.post(f"/v1/decisions/{record['id']}/replays")
    assert replay.json()["same"] is True


def test_a_later_measurement_takes_the_place_of_the_kept_one_as_a_whole(service: Service) -> None:
    _decided(service, _first())
    _event(service, _result(dorsalis_pedis_mmhg=45, posterior_tibial_mmhg=40))
    request = _next(
        "2026-03-12T10:00:00+00:00",
        abpi_availability="reported",
        reported_abpi=1.1,
        arterial_test_on="2026-03-11",
    )
    record = _decided(service, request)
    assert "dorsalis_pedis_mmhg" not in _filled(record)
    assert record["limbs"]["left"]["tier"] != "withhold"
    kept = {one["input"]: one["value"] for one in _episode(service)["limbs"]["left"]["kept"]}
    assert (kept["reported_abpi"], "dorsalis_pedis_mmhg" in kept) == ("11/10", False)


def test_an_older_measurement_does_not_take_its_place(service: Service) -> None:
    _decided(service, _first())
    _event(service, _result(dorsalis_pedis_mmhg=45, posterior_tibial_mmhg=40))
    request = _next(
        "2026-03-12T10:00:00+00:00",
        abpi_availability="reported",
        reported_abpi=1.1,
        arterial_test_on="2026-02-01",
    )
    record = _decided(service, request)
    assert record["limbs"]["left"]["tier"] == "withhold"
    assert "older-measurement" in {one["code"] for one in record["warnings"]}


def test_kept_answers_are_asked_again_after_twelve_weeks(service: Service) -> None:
    _decided(service, _first())
    within = _decided(service, _next("2026-05-25T10:00:00+01:00"))
    assert _filled(within)["diabetes"]["on"] == "2026-03-02"
    after = _decided(service, _next("2026-05-26T10:00:00+01:00"))
    assert "diabetes" not in _filled(after)
    assert "diabetes" in {one["input"] for one in after["limbs"]["left"]["questions"]}


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("first_contact_on", "2026-03-04"),
        ("current_tier", "strong"),
        ("compression_started_on", "2026-03-01"),
        ("current_tier_since", "2026-03-03"),
        ("start_wound_area_cm2", 40),
    ],
)
def test_an_answer_that_contradicts_the_history_is_refused(
    service: Service, name: str, value: object
) -> None:
    _decided(service, _first())
    answer = service.post("/v1/decisions", _next("2026-03-04T10:00:00+00:00", **{name: value}))
    found = problem_of(answer, "invalid-assessment", 422)
    assert ("contradicts-history", f"#/limbs/left/{name}") in found
    assert _episode(service)["contacts"] == 1


def test_compression_found_removed_counts_and_is_told(service: Service) -> None:
    _decided(service, _first())
    request = _next("2026-03-04T10:00:00+00:00", current_tier="withhold", abpi_availability="not_yet_done")
    for name in ("tolerance", "progress"):
        del request["limbs"]["left"][name]
    record = _decided(service, request)
    assert record["limbs"]["left"]["disposition"] == "start"
    assert "differs-from-history" in {one["code"] for one in record["warnings"]}
    assert service.client.post(f"/v1/decisions/{record['id']}/replays").json()["same"] is True
    assert _episode(service)["limbs"]["left"]["compression_started_on"] == "2026-03-02"


def test_compression_removed_between_contacts_is_told_by_an_event(service: Service) -> None:
    _decided(service, _first())
    removed = {"kind": "compression_removed", "happened_on": "2026-03-03", "limb": "left"}
    _event(service, {**removed, "reason": "by_the_person"})
    request = _next("2026-03-04T10:00:00+00:00")
    for name in ("tolerance", "progress"):
        del request["limbs"]["left"][name]
    record = _decided(service, request)
    assert _filled(record)["current_tier"]["value"] == "withhold"
    assert record["warnings"] == _decided(service, _first("ep-plover-9"))["warnings"]


def test_advice_of_an_event_counts_at_the_next_contact(service: Service) -> None:
    _decided(service, _first())
    advice = {"kind": "advice_given", "happened_on": "2026-03-03", "limb": "left"}
    event = _event(service, {**advice, "answers": {"vascular_advice": "no_compression"}})
    request = _next("2026-03-04T10:00:00+00:00")
    request["limbs"]["left"].pop("vascular_advice", None)
    record = _decided(service, request)
    assert _filled(record)["vascular_advice"]["entry"] == event["id"]
    assert record["limbs"]["left"]["tier"] == "withhold"


def test_a_contact_of_before_is_completed_as_of_its_own_moment(service: Service) -> None:
    _decided(service, _first())
    later = _decided(service, _next("2026-03-10T10:00:00+00:00"))
    _event(service, _result("2026-03-08"))
    record = _decided(service, _next("2026-03-05T10:00:00+00:00"))
    assert "dorsalis_pedis_mmhg" not in _filled(record)
    assert record["episode"]["last_contact"] != later["id"]
    assert "later-contacts" in {one["code"] for one in record["warnings"]}
    assert service.client.get(f"/v1/decisions/{later['id']}").json() == later
    assert _episode(service)["contacts"] == 3


def test_a_corrected_decision_counts_no_longer(service: Service) -> None:
    first = _decided(service, _first())
    wrong = _decided(service, _next("2026-03-05T10:00:00+00:00", wound_length_cm=6))
    right = _decided(service, {**_next("2026-03-05T10:00:00+00:00"), "corrects": wrong["id"]})
    assert (right["episode"]["corrects"], right["episode"]["last_contact"]) == (wrong["id"], first["id"])
    known = _episode(service)
    assert known["contacts"] == 2
    by_entry = {one["entry"]: one for one in known["history"]}
    assert by_entry[wrong["id"]]["corrected_by"] == right["id"]
    again = service.post("/v1/decisions", {**_next("2026-03-05T10:00:00+00:00"), "corrects": wrong["id"]})
    assert problem_of(again, "invalid-assessment", 422) == [("corrected-before", "#/corrects")]


@pytest.mark.parametrize("change", [{}, {"episode": None}])
def test_what_is_corrected_must_be_of_the_episode(service: Service, change: dict[str, Any]) -> None:
    _decided(service, _first())
    other = _decided(service, _first("ep-plover-2"))
    request = {**_next("2026-03-05T10:00:00+00:00"), "corrects": other["id"]}
    expected = ("unknown-decision", "#/corrects")
    if change:
        del request["episode"]
        expected = ("missing-field", "#/episode")
    assert problem_of(service.post("/v1/decisions", request), "invalid-assessment", 422) == [expected]


@pytest.mark.parametrize("kind", ["healed", "died", "moved_away"])
def test_a_closed_episode_takes_no_later_contact(service: Service, kind: str) -> None:
    _decided(service, _first())
    closing = _event(service, {"kind": kind, "happened_on": "2026-03-05"})
    known = _episode(service)
    assert (known["closed_as"], known["closed_on"], known["review_due_on"]) == (kind, "2026-03-05", None)
    assert known["watch"] == []
    answer = service.post("/v1/decisions", _next("2026-03-06T10:00:00+00:00"))
    assert problem_of(answer, "invalid-assessment", 422) == [("episode-closed", "#/episode")]
    event = service.post("/v1/episodes/ep-plover-1/events", _result("2026-03-06"))
    assert problem_of(event, "invalid-assessment", 422) == [("episode-closed", "#/happened_on")]
    taken_back = {"kind": "entered_in_error", "happened_on": "2026-03-06", "corrects": closing["id"]}
    _event(service, taken_back)
    assert _episode(service)["closed_as"] is None
    _decided(service, _next("2026-03-06T10:00:00+00:00"))


@pytest.mark.parametrize(
    ("event", "found"),
    [
        ({"kind": "healed", "happened_on": "2099-01-01"}, ("future-date", "#/happened_on")),
        ({"kind": "healed", "happened_on": "2026-03-01"}, ("before-first-contact", "#/happened_on")),
        ({"kind": "healed", "happened_on": "2026-02-30"}, ("impossible-date", "#/happened_on")),
        ({"kind": "healed"}, ("missing-field", "#/happened_on")),
        ({"kind": "cured", "happened_on": "2026-03-05"}, ("unknown-choice", "#/kind")),
        ({"kind": "healed", "happened_on": "2026-03-05", "limb": "left"}, ("not-for-this-event", "#/limb")),
        ({"kind": "healed", "happened_on": "2026-03-05", "limbs": 1}, ("unknown-field", "#/limbs")),
        (_result() | {"limb": "right"}, ("no-limb", "#/limb")),
        (_result(diabetes=True), ("misplaced-input", "#/answers/diabetes")),
        (_result(sensation="intact"), ("not-for-this-event", "#/answers/sensation")),
        (_result(reported_abpi=1.0), ("contradicting-answer", "#/answers/reported_abpi")),
        (
            {**_result(), "answers": {"abpi_availability": "not_possible"}, "person": {}},
            ("missing-field", "#/answers"),
        ),
        (
            {"kind": "referral_accepted", "happened_on": "2026-03-05", "arrangement": "moon"},
            ("unknown-choice", "#/arrangement"),
        ),
        (
            {"kind": "entered_in_error", "happened_on": "2026-03-05", "corrects": "x"},
            ("bad-format", "#/corrects"),
        ),
    ],
)
def test_an_event_that_does_not_fit_is_refused(
    service: Service, event: dict[str, Any], found: tuple[str, str]
) -> None:
    _decided(service, _first())
    answer = service.post("/v1/episodes/ep-plover-1/events", event)
    assert found in problem_of(answer, "invalid-assessment", 422)
    assert _episode(service)["events"] == 0


def test_an_episode_of_nobody_or_of_another_organisation_is_unknown(service: Service) -> None:
    _decided(service, _first())
    other = bearer(service.keys.make("integrator", ("decide", "read"), "elsewhere"))
    for headers, name in (({}, "ep-nobody"), (other, "ep-plover-1"), ({}, "1-no-reference")):
        path = f"/v1/episodes/{name}"
        answers = [
            service.client.get(path, headers=headers),
            service.post(f"{path}/events", _result(), headers),
        ]
        for answer in answers:
            assert problem_of(answer, "not-found", 404) == [("unknown-episode", None)]


def test_an_event_sent_again_with_its_key_is_kept_once(service: Service) -> None:
    _decided(service, _first())
    _decided(service, _first("ep-plover-2"))
    key = {"Idempotency-Key": '"a-key"'}
    first = service.post("/v1/episodes/ep-plover-1/events", _result(), key)
    again = service.post("/v1/episodes/ep-plover-1/events", _result(), key)
    assert first.status_code == again.status_code == 201
    assert first.content == again.content
    assert _episode(service)["events"] == 1
    elsewhere = service.post("/v1/episodes/ep-plover-2/events", _result(), key)
    assert problem_of(elsewhere, "idempotency-key-reused", 422) == [("idempotency-key-reused", None)]


@pytest.mark.parametrize(
    ("answers", "name"),
    [
        ({"wound_length_cm": 50, "wound_width_cm": 25}, "left/area-out-of-step"),
        ({"wound_length_cm": 0.5, "wound_width_cm": 0.3}, "left/area-out-of-step"),
        ({"ankle_girth_cm": 12}, "left/girth-out-of-step"),
    ],
)
def test_what_looks_like_a_slip_is_asked_about(service: Service, answers: dict[str, Any], name: str) -> None:
    _decided(service, _first())
    request = _next("2026-03-04T10:00:00+00:00", **answers)
    refused = service.post("/v1/decisions", request)
    assert [code for code, _ in problem_of(refused, "invalid-assessment", 422)] == [name.partition("/")[2]]
    assert name in refused.text
    _decided(service, {**request, "confirmed": [name]})


def test_two_legs_that_look_swapped_are_asked_about(service: Service) -> None:
    slim = {"ankle_girth_cm": 21, "calf_girth_cm": 33, "girth_series_cm": "not_done"}
    wide = {"ankle_girth_cm": 29, "calf_girth_cm": 44, "girth_series_cm": "not_done"}
    first = _first()
    leg = first["limbs"]["left"]
    first["limbs"] = {"left": leg | slim, "right": leg | wide}
    _decided(service, first)
    second = _next("2026-03-04T10:00:00+00:00")
    answers = second["limbs"]["left"]
    second["limbs"] = {"left": answers | wide, "right": answers | slim}
    refused = service.post("/v1/decisions", second)
    assert [code for code, _ in problem_of(refused, "invalid-assessment", 422)] == ["limbs-look-swapped"]
    second["limbs"] = {"left": answers | slim, "right": answers | wide}
    _decided(service, second)


def test_support_given_twice_is_watched(service: Service) -> None:
    first = _first()
    first["limbs"]["left"]["known_arterial_disease"] = True
    assert _decided(service, first)["limbs"]["left"]["tier"] == "support"
    again = _decided(service, _next("2026-03-04T10:00:00+00:00", abpi_availability="not_yet_done"))
    assert again["limbs"]["left"]["tier"] == "support"
    flag = next(one for one in again["episode"]["watch"] if one["rule"] == "support-twice")
    assert (flag["state"], flag["due_on"], flag["limb"]) == ("applies", "2026-03-05", "left")
    assert "support-twice" in {one["rule"] for one in _episode(service)["watch"]}


def test_decisions_of_one_episode_at_once_all_follow_one_another(service: Service) -> None:
    _decided(service, _first())
    answers: list[dict[str, Any]] = []

    def decide() -> None:
        answers.append(_decided(service, _next("2026-03-04T10:00:00+00:00")))

    threads = [threading.Thread(target=decide) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(one["episode"]["contacts_before"] for one in answers) == list(range(1, 9))


def test_episodes_are_worked_out_from_the_log_alone(service: Service, rules: ReadyRules) -> None:
    _decided(service, _first())
    _event(service, _result())
    wrong = _decided(service, _next("2026-03-06T10:00:00+00:00"))
    _decided(service, {**_next("2026-03-07T10:00:00+00:00"), "corrects": wrong["id"]})
    _decided(service, _next("2026-03-04T10:00:00+00:00"))
    _decided(service, _first("ep-plover-2"))
    table = EpisodeTable(service.log.store.database)
    editions = [one.edition for one in rules.editions.values()]
    watch = ready_watch(CHECKOUT / "rules", editions)
    episodes = Episodes(table, watch, ready_attention(CHECKOUT / "rules", watch)[0])
    names = ("ep-plover-1", "ep-plover-2")
    before = {name: (table.find("quillerbeck", name), table.parts("quillerbeck", name)) for name in names}
    assert episodes.rebuild(service.log.store) == 2
    assert {
        name: (table.find("quillerbeck", name), table.parts("quillerbeck", name)) for name in names
    } == before


def test_a_form_in_an_episode_is_asked_only_what_is_not_known(service: Service) -> None:
    _decided(service, _first())
    _event(service, _result())
    answer = service.post("/v1/previews?next_questions=true", _next("2026-03-06T10:00:00+00:00"))
    assert answer.status_code == 200, answer.text
    asked = {one["input"] for one in answer.json()["next_questions"]["questions"]}
    assert asked.isdisjoint({*MEASURED, *ARMS, *KEPT})
    assert answer.json()["limbs"]["left"]["tier"] == "moderate"


def test_a_decision_that_was_overtaken_is_made_again_after_the_other(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    _decided(service, _first())
    read, overtaken = FollowUps.known, list[str]()

    def known(self: FollowUps, body: bytes, organisation: str) -> Known | None:
        found = read(self, body, organisation)
        if found is not None and not overtaken:
            caller = Caller("another-worker", organisation, frozenset())
            entry = self.entry(body, caller, None, found)
            service.log.append(entry)
            overtaken.append(entry.id)
        return found

    monkeypatch.setattr(FollowUps, "known", known)
    record = _decided(service, _next("2026-03-04T10:00:00+00:00"))
    assert record["episode"]["contacts_before"] == 2
    assert record["episode"]["last_contact"] == overtaken[0]
    assert _episode(service)["contacts"] == 3


_STOP = {"dorsalis_pedis_mmhg": 45, "posterior_tibial_mmhg": 40}


def test_a_result_from_before_the_first_contact_is_refused_rather_than_forgotten(service: Service) -> None:
    _decided(service, _first())
    event = {**_result("2026-03-02", **_STOP), "time": "08:50"}
    answer = service.post("/v1/episodes/ep-plover-1/events", event)
    assert problem_of(answer, "invalid-assessment", 422) == [("before-first-contact", "#/time")]
    _event(service, {**event, "time": "09:40"})


def test_a_first_contact_is_not_corrected_so_that_a_result_is_forgotten(service: Service) -> None:
    first = _decided(service, _first())
    event = _event(service, _result("2026-03-03", **_STOP))
    request = {**_first(), "assessed_at": "2026-03-04T09:30:00+00:00", "corrects": first["id"]}
    for path in ("/v1/decisions", "/v1/previews"):
        answer = service.post(path, request)
        assert problem_of(answer, "invalid-assessment", 422) == [("before-first-contact", "#/corrects")]
    _decided(service, _next("2026-03-05T10:00:00+00:00"))
    taken_back = {"kind": "entered_in_error", "happened_on": "2026-03-05", "corrects": first["id"]}
    answer = service.post("/v1/episodes/ep-plover-1/events", taken_back)
    assert problem_of(answer, "invalid-assessment", 422) == [("before-first-contact", "#/corrects")]
    kept = {one["input"] for one in _episode(service)["limbs"]["left"]["kept"]}
    assert "dorsalis_pedis_mmhg" in kept
    _event(service, {**taken_back, "corrects": event["id"]})
    _event(service, taken_back)


# 65 / 140 is below 0.5
_RATIO_OF_BEFORE: dict[str, object] = {
    "dorsalis_pedis_mmhg": 65,
    "posterior_tibial_mmhg": 62,
}
_NO_ARMS = {"arm_pressure_left_mmhg": "not_done", "arm_pressure_right_mmhg": "not_done"}
_UNDATED = {"abpi_availability": "reported", "reported_abpi": 1.1, "arterial_test_on": "not_done"}
_NO_RATIO = {**MEASURED, **_RATIO_OF_BEFORE, "dorsalis_pedis_mmhg": 66, "arterial_test_on": "2026-03-10"}


def test_a_toe_pressure_of_an_earlier_day_does_not_replace_a_later_one(service: Service) -> None:
    _decided(service, _first())
    request = _next("2026-03-10T10:00:00+00:00", toe_pressure_mmhg=25)
    assert _decided(service, request)["limbs"]["left"]["tier"] == "withhold"
    older = {"abpi_availability": "not_possible", "toe_pressure_mmhg": 60, "arterial_test_on": "2026-03-01"}
    _event(
        service, {**_result("2026-03-12"), "answers": {**MEASURED, **older, "abpi_availability": "measured"}}
    )
    request = _next("2026-03-12T10:00:00+00:00")
    for name in ("tolerance", "progress", "toe_pressure_mmhg"):
        request["limbs"]["left"].pop(name, None)
    record = _decided(service, request)
    assert _filled(record)["toe_pressure_mmhg"]["value"] == "25"
    assert record["limbs"]["left"]["tier"] == "withhold"


_NO_DAY = {"abpi_availability": "reported", "reported_abpi": 1.1}
_HALF = {**MEASURED, "dorsalis_pedis_mmhg": 66, "arterial_test_on": "2026-03-10"}  # and no arm pressures


@pytest.mark.parametrize("test", [_NO_DAY, _HALF])
def test_a_stop_is_not_hidden_by_a_test_of_which_something_is_missing(
    service: Service, test: dict[str, Any]
) -> None:
    _decided(service, _first())
    _event(service, _result("2026-03-05", **_RATIO_OF_BEFORE))
    request = _next("2026-03-10T10:00:00+00:00")
    for name in ARMS:
        request["person"].pop(name, None)
    request["limbs"]["left"] |= test
    answer = service.post("/v1/decisions", request)
    assert ("hides-result", "#/limbs/left/abpi_availability") in problem_of(answer, "invalid-assessment", 422)
    form = service.post("/v1/previews?next_questions=true", request)
    assert "hides-result" not in form.text
    event = {**_result("2026-03-10"), "answers": test, "person": {}}
    refused = service.post("/v1/episodes/ep-plover-1/events", event)
    assert problem_of(refused, "invalid-assessment", 422) == [("hides-result", "#/answers/abpi_availability")]


@pytest.mark.parametrize("test", [_UNDATED, _NO_RATIO])
def test_a_stop_is_not_hidden_by_a_test_without_ratio_or_day(service: Service, test: dict[str, Any]) -> None:
    _decided(service, _first())
    _event(service, _result("2026-03-05", **_RATIO_OF_BEFORE))
    request = _next("2026-03-10T10:00:00+00:00", toe_pressure_mmhg="not_done")
    request["person"] |= _NO_ARMS
    assert _decided(service, request)["limbs"]["left"]["tier"] == "withhold"
    request["assessed_at"] = "2026-03-10T11:00:00+00:00"
    for name in ("tolerance", "progress"):
        del request["limbs"]["left"][name]
    request["limbs"]["left"] |= test
    answer = service.post("/v1/decisions", request)
    assert problem_of(answer, "invalid-assessment", 422) == [
        ("hides-result", "#/limbs/left/abpi_availability")
    ]
    event = {**_result("2026-03-10"), "answers": test, "person": _NO_ARMS}
    refused = service.post("/v1/episodes/ep-plover-1/events", event)
    assert problem_of(refused, "invalid-assessment", 422) == [("hides-result", "#/answers/abpi_availability")]
    record = _decided(service, {**request, "confirmed": ["left/hides-result"]})
    assert record["limbs"]["left"]["tier"] != "withhold"
    assert service.client.post(f"/v1/decisions/{record['id']}/replays").json()["same"] is True
    again = {**request, "assessed_at": "2026-03-12T10:00:00+00:00"}
    again["limbs"]["left"] |= {"tolerance": "good", "progress": "better"}
    assert _decided(service, again)["limbs"]["left"]["tier"] != "withhold"
