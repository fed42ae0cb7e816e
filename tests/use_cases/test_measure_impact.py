"""Past assessments are decided again by another edition; every leg is counted, and nothing is left out."""

from __future__ import annotations

import json
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from limbtier.domain.caller import Caller
from limbtier.domain.entry import DecisionFilter
from limbtier.foundation.errors import NotFound, StoreUnavailable
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.impact import Cause, Impact
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from limbtier.use_cases import measure_impact as measuring
from limbtier.use_cases.decide import Decider, ReadyRules
from limbtier.use_cases.leg_outcomes import NoDecisionRecord, read_record
from limbtier.use_cases.measure_impact import Candidate, Measurer, measure_impact
from limbtier.use_cases.past_assessments import DecisionsOfLog, LinesOfFile, PastAssessment
from limbtier.use_cases.ready_rules import ready_rules
from tests.support.editions import CHANGED, CORE, rules_with_changed_core
from tests.support.records import CALLER, decided

COHORT_FILE = CHECKOUT / "demo_data" / "assessments.jsonl"
COHORT = COHORT_FILE.read_bytes().splitlines()
RISK = """\
    then:
      review: {within: 72 hours}
      arrange: {what: full_assessment, within: 7 days}
    because: >-
      Diabetes, kidney disease"""
# With a risk of arterial disease and no result: support, not mild. The review at support a day sooner.
STRICTER = {
    "rules/arterial_supply.yaml": {RISK: RISK.replace("then:\n", "then:\n      limit: {tier: support}\n")},
    "tiers.yaml": {"review_within: 48 hours": "review_within: 24 hours"},
}


@pytest.fixture(scope="module")
def rules_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return rules_with_changed_core(tmp_path_factory.mktemp("stricter"), STRICTER)


@pytest.fixture(scope="module")
def both(rules_folder: Path) -> ReadyRules:
    return ready_rules(rules_folder)


@pytest.fixture(scope="module")
def candidate(rules_folder: Path) -> Candidate:
    return Candidate(rules_folder, CHANGED)


@pytest.fixture(scope="module")
def records(both: ReadyRules) -> list[bytes]:
    """The demo cohort, decided by the core edition, each with an id of its own."""
    identifiers: Iterator[uuid.UUID] = (uuid.UUID(int=number) for number in range(10**6))
    decider = Decider(both, identifiers=lambda: str(next(identifiers)))
    return [decider.entry(line, CALLER).data for line in COHORT]


@pytest.fixture(scope="module")
def cohort_impact(candidate: Candidate) -> Impact:
    return measure_impact(LinesOfFile(COHORT_FILE), candidate)


def told(impact: Impact) -> list[tuple[Any, ...]]:
    return [(one.side, one.before, one.after, one.tier, one.review, one.causes) for one in impact.changes]


def test_a_lowered_limit_moves_legs_down_and_is_named_as_the_cause(cohort_impact: Impact) -> None:
    down = [change for change in cohort_impact.changes if change.tier == "down"]
    assert len(down) > 20
    for change in down:
        assert change.after.tier == "support"
        assert Cause("not-measured-risk", "limits", "support") in change.causes
    assert not [change for change in cohort_impact.changes if change.tier == "up"]


def test_an_earlier_review_is_told_with_what_sets_it(cohort_impact: Impact) -> None:
    earlier = [change for change in cohort_impact.changes if change.review == "earlier"]
    assert len(earlier) > 20
    assert {cause.rule for one in earlier for cause in one.causes if cause.tier is None} >= {"tier"}
    assert cohort_impact.reviews["earlier"] == len(earlier)


def test_every_leg_is_counted_as_an_independent_count_of_whole_decisions_does(
    cohort_impact: Impact, both: ReadyRules
) -> None:
    decider = Decider(both)
    tiers: Counter[tuple[str, str]] = Counter()
    differing = 0
    for line in COHORT:
        by_new = json.loads(line) | {"edition": CHANGED}
        before = json.loads(decider.preview(line))["limbs"]
        after = json.loads(decider.preview(json.dumps(by_new).encode()))["limbs"]
        for side, leg in before.items():
            tiers[leg["tier"], after[side]["tier"]] += 1
            differing += any(
                leg[name] != after[side][name] for name in ("tier", "disposition", "target_tier")
            ) or (leg["review"]["due_on"] != after[side]["review"]["due_on"])
    assert cohort_impact.tiers == tiers
    assert cohort_impact.legs == tiers.total()
    assert len(cohort_impact.changes) == differing
    assert cohort_impact.assessments == len(COHORT)
    assert cohort_impact.editions == {CORE: tiers.total()}


def test_decision_records_come_to_the_same_as_their_assessments_and_are_linked(
    records: list[bytes], cohort_impact: Impact, candidate: Candidate, tmp_path: Path
) -> None:
    file = tmp_path / "records.jsonl"
    file.write_bytes(b"\n".join(records))
    impact = measure_impact(LinesOfFile(file), candidate)
    assert told(impact) == told(cohort_impact)
    assert impact.tiers == cohort_impact.tiers
    for change in impact.changes:
        assert change.link == f"/v1/decisions/{change.reference}"
        assert str(uuid.UUID(change.reference)) == change.reference


def test_an_edition_without_changes_changes_nothing(records: list[bytes], both: ReadyRules) -> None:
    same = Measurer.of(both, Candidate(Path(), CORE))
    impact = same.measure(PastAssessment(f"{number}", None, data) for number, data in enumerate(records))
    assert (impact.changes, impact.not_decided) == ([], [])
    assert impact.legs == impact.reviews["same"] > len(records)


def test_several_processes_count_what_one_does(
    records: list[bytes], candidate: Candidate, tmp_path: Path
) -> None:
    file = tmp_path / "records.jsonl"
    file.write_bytes(b"\n".join(records[:60]) + b"\n\n{\n" + b"\n".join(records[60:90]))
    past = LinesOfFile(file, portion_bytes=700_000)
    assert len(list(past.portions())) > 4
    shares: list[float] = []
    alone = measure_impact(past, candidate, processes=1)
    several = measure_impact(past, candidate, lambda _impact, share: shares.append(share), processes=2)
    assert several == alone
    assert several.changes
    assert [one.reference for one in several.not_decided] == ["line 62"]
    assert shares == sorted(shares)
    assert shares[-1] == 1


def test_files_that_change_meanwhile_are_noticed(
    rules_folder: Path, records: list[bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    measurer = Measurer.of(ready_rules(rules_folder), Candidate(rules_folder, CHANGED))
    monkeypatch.setattr(measuring, "_measurers", [measurer])
    failed = measuring._measure_portion(portion_of(records[:1]), "sha256:other")
    assert isinstance(failed, measuring._Failed)
    assert "were changed while" in failed.diagnostics[0].message


def portion_of(records: list[bytes]) -> Any:
    class Given:
        share = 1.0

        def read(self) -> Iterator[PastAssessment]:
            return (PastAssessment(str(number), None, data) for number, data in enumerate(records))

    return Given()


def altered(data: bytes, change: Callable[[dict[str, Any]], object]) -> bytes:
    value = json.loads(data)
    change(value)
    return json.dumps(value).encode()


@pytest.mark.parametrize(
    ("spoil", "edition", "code"),
    [
        (lambda _line, _record: b"{", "none", "not-json"),
        (lambda _line, _record: b"[]", "none", "invalid-assessment"),
        (lambda line, _record: line[:-1] + b',"person":{}}', "none", "not-json"),
        (lambda line, _record: altered(line, lambda a: a.pop("calendar")), "none", "invalid-assessment"),
        (
            lambda line, _record: altered(line, lambda a: a.update(edition="core-2020.1.0")),
            "none",
            "invalid-assessment",
        ),
        (lambda _line, record: altered(record, lambda r: r.pop("limbs")), "none", "not-a-decision"),
        (
            lambda _line, record: altered(record, lambda r: r["limbs"].popitem()),
            CORE,
            "not-a-decision",
        ),
        (
            lambda _line, record: altered(
                record, lambda r: r["limbs"]["left"].update(tier="firm", reasons=[])
            ),
            CORE,
            "not-a-decision",
        ),
        (
            lambda _line, record: altered(
                record,
                lambda r: r["limbs"]["left"].update(tier="strong", reasons=[{"rule": "x"}]),
            ),
            CORE,
            "not-a-decision",
        ),
        (
            lambda _line, record: altered(record, lambda r: r.update(received="{}")),
            CHANGED,
            "invalid-assessment",
        ),
        (lambda _line, record: altered(record, lambda r: r.update(received="{")), "none", "not-json"),
    ],
)
def test_what_cannot_be_decided_is_listed_with_the_edition_and_the_reason(
    spoil: Callable[[bytes, bytes], bytes],
    edition: str,
    code: str,
    both: ReadyRules,
    records: list[bytes],
) -> None:
    measurer = Measurer.of(both, Candidate(Path(), CHANGED))
    spoilt = spoil(COHORT[0], records[0])
    impact = measurer.measure([PastAssessment("line 1", None, spoilt), PastAssessment("2", None, COHORT[1])])
    [left_out] = impact.not_decided
    assert (left_out.edition, left_out.code) == (edition, code)
    assert left_out.reasons
    assert impact.assessments == 2
    assert impact.legs == len(json.loads(COHORT[1])["limbs"])


def test_an_assessment_that_the_candidate_cannot_read_is_listed_with_each_field(
    tmp_path: Path, records: list[bytes]
) -> None:
    range_of_age = "range: {at_least: 0, at_most: 125}"
    folder = rules_with_changed_core(
        tmp_path,
        {
            "vocabulary.yaml": {
                range_of_age: "range: {at_least: 0, at_most: 88}",
                "expected: {at_least: 18, at_most: 105}": "expected: {at_least: 18, at_most: 88}",
            }
        },
    )
    impact = Measurer.of(ready_rules(folder), Candidate(folder, CHANGED)).measure(
        PastAssessment(f"{number}", None, data) for number, data in enumerate(records)
    )
    too_old = [line for line in COHORT if json.loads(line)["person"].get("age_years", 0) > 88]
    assert 0 < len(too_old) == len(impact.not_decided)
    for one in impact.not_decided:
        assert (one.edition, one.code) == (CHANGED, "invalid-assessment")
        assert one.reasons[0].startswith("/person/age_years: ")
        assert one.link == f"/v1/decisions/{one.reference}"
    assert impact.assessments == len(records)
    assert impact.legs == sum(len(json.loads(line)["limbs"]) for line in COHORT if line not in too_old)


def test_an_answer_that_would_break_a_guard_rail_is_listed(tmp_path: Path, records: list[bytes]) -> None:
    old = (
        "    then:\n      limit: {tier: mild, until: arterial_result}\n      arrange: {what: full_assessment"
    )
    text = (CHECKOUT / "rules" / "core" / "2026.1.0" / "rules" / "arterial_supply.yaml").read_text()
    assert text.count(old) == 1
    folder = rules_with_changed_core(
        tmp_path, {"rules/arterial_supply.yaml": {old: old.replace("mild", "moderate")}}
    )
    both = ready_rules(folder)
    impact = Measurer.of(both, Candidate(folder, CHANGED)).measure(
        PastAssessment(f"{number}", None, data) for number, data in enumerate(records)
    )
    refused = [one for one in impact.not_decided if one.code == "guard-rail-broken"]
    assert refused
    assert refused == impact.not_decided
    assert "arterial-gate" in refused[0].reasons[0]
    assert impact.assessments == len(records)


def test_against_another_edition_records_are_decided_by_both(both: ReadyRules, records: list[bytes]) -> None:
    measurer = Measurer.of(both, Candidate(Path(), CORE, against=CHANGED))
    impact = measurer.measure(PastAssessment(f"{number}", None, data) for number, data in enumerate(records))
    assert impact.editions == {CHANGED: impact.legs}
    ups = [one for one in impact.changes if one.tier == "up"]
    assert {one.before.tier for one in ups} == {"support"}
    assert Cause("not-measured-risk", "no longer limits", "support") in ups[0].causes


@pytest.mark.parametrize("names", [("core-2026.2.1", None), (CORE, "core-2026.2.1")])
def test_an_unknown_edition_is_named_with_the_closest(
    names: tuple[str, str | None], both: ReadyRules
) -> None:
    with pytest.raises(NotFound, match=r"There is no edition `core-2026\.2\.1`"):
        Measurer.of(both, Candidate(Path(), *names))


# ---- reading decision records ---------------------------------------------------------------------------


def test_reading_only_what_is_needed_gives_what_the_whole_record_says(records: list[bytes]) -> None:
    for data in records:
        quick = read_record(data)
        # With blanks between its members the whole record is read.
        whole = read_record(json.dumps(json.loads(data), ensure_ascii=False).encode())
        assert quick is not None
        assert whole is not None
        assert (quick.id, quick.received) == (whole.id, whole.received)
        assert (quick.outcomes.edition, quick.outcomes.legs) == (whole.outcomes.edition, whole.outcomes.legs)
        for side in quick.outcomes.legs:
            assert quick.outcomes.reasons(side) == whole.outcomes.reasons(side)


@pytest.mark.parametrize(
    "episode", ["ep-1", 'x","tier":"strong","trace":{', '\\",\\"received\\":\\"', ',"warnings":[']
)
def test_nothing_in_a_text_is_taken_for_a_part_of_the_record(episode: str, both: ReadyRules) -> None:
    # The request stands in the record as text; blanks in JSON may hold no words, so they go into a string.
    body = b'{"note":' + json.dumps(episode).encode() + b"," + COHORT[0][1:]
    record = json.loads(decided(both, COHORT[0]))
    record["received"] = body.decode()
    data = json.dumps(record, separators=(",", ":"), ensure_ascii=False).encode()
    found = read_record(data)
    assert found is not None
    assert found.received == body
    assert found.outcomes.legs.keys() == record["limbs"].keys()
    assert [one.tier for one in found.outcomes.legs.values()] == [
        leg["tier"] for leg in record["limbs"].values()
    ]


@pytest.mark.parametrize("data", [b"", b"{", b"[]", b"{}", b'{"received":5}', b"null", COHORT[0]])
def test_what_is_no_record_is_none(data: bytes) -> None:
    assert read_record(data) is None


def test_a_record_without_its_parts_is_refused() -> None:
    with pytest.raises(NoDecisionRecord, match="edition"):
        read_record(b'{"received":"{}"}')


# ---- where they come from -------------------------------------------------------------------------------


@pytest.mark.parametrize("portion_bytes", [1, 10, 40, 10_000])
@pytest.mark.parametrize("end", [b"", b"\n"])
def test_lines_keep_their_numbers_however_the_file_is_cut(
    portion_bytes: int, end: bytes, tmp_path: Path
) -> None:
    file = tmp_path / "lines"
    file.write_bytes(b"\n".join([b"one", b"", b"three" * 10, b"  ", b"five\r", b"six"]) + end)
    read = [one for portion in LinesOfFile(file, portion_bytes).portions() for one in portion.read()]
    assert [(one.reference, one.data.strip()) for one in read] == [
        ("line 1", b"one"),
        ("line 3", b"three" * 10),
        ("line 5", b"five"),
        ("line 6", b"six"),
    ]


def test_an_empty_file_holds_nothing(tmp_path: Path, candidate: Candidate) -> None:
    file = tmp_path / "empty"
    file.touch()
    assert measure_impact(LinesOfFile(file), candidate) == Impact()


def test_decisions_of_the_log_are_those_of_one_organisation_and_period(
    tmp_path: Path, both: ReadyRules, candidate: Candidate, records: list[bytes]
) -> None:
    database = tmp_path / "log.sqlite3"
    store = EntryStore(open_database(database))
    clock = iter(datetime(2026, month, 1, 9, tzinfo=UTC) for month in range(1, 9))
    decider = Decider(both, lambda: next(clock))
    elsewhere = Caller("other-key", "elsewhere", frozenset())
    entries = [
        decider.entry(line, CALLER if place % 2 else elsewhere) for place, line in enumerate(COHORT[:8])
    ]
    store.append(entries)
    store.close()
    wanted = DecisionFilter(
        "quillerbeck",
        decided_from=datetime(2026, 3, 1, tzinfo=UTC),
        decided_before=datetime(2026, 8, 1, 9, tzinfo=UTC),
    )
    past = DecisionsOfLog(str(database), wanted)
    read = [one for portion in past.portions() for one in portion.read()]
    assert [one.reference for one in read] == [entries[3].id, entries[5].id]
    assert [one.data for one in read] == [entries[3].data, entries[5].data]
    assert [one.link for one in read] == [f"/v1/decisions/{entry.id}" for entry in (entries[3], entries[5])]
    impact = measure_impact(past, candidate)
    assert (impact.assessments, impact.not_decided) == (2, [])
    assert not list(DecisionsOfLog(str(database), DecisionFilter("nobody")).portions())


def test_a_log_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    database = tmp_path / "none.sqlite3"
    with pytest.raises(StoreUnavailable, match="There is no database"):
        list(DecisionsOfLog(str(database), DecisionFilter("quillerbeck")).portions())
    assert not database.exists()
