"""Drafts on their way to a release: who may do what, what voids what, and what stands against a step."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest

from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.log import Log
from limbtier.domain.caller import Caller
from limbtier.foundation.errors import InvalidAssessment, InvalidRuleFiles, LimbtierError, NotFound
from limbtier.foundation.settings import CHECKOUT
from limbtier.store.database import Database
from limbtier.store.drafts import EditionTable
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from limbtier.use_cases import release_drafts
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.release_errors import DraftStale, InvalidDraft, StepRefused
from limbtier.use_cases.release_files import read_members
from limbtier.use_cases.release_rules import rules_at_start
from tests.support.releases import (
    APPROVER,
    CORE,
    EDITOR,
    NOON,
    RULES,
    SCOPES,
    STRANGER,
    TODAY,
    QuickReleases,
    approved,
    local_files,
    proved,
    records,
    released,
    steps_over,
)

FIRST, SECOND = "larchmere-2026.1.0", "larchmere-2026.2.0"
CONTACT = (CHECKOUT / "demo_data" / "first_contact.json").read_bytes()
TOMORROW = TODAY + timedelta(days=1)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    store = EntryStore(open_database(tmp_path / "log.sqlite3"))
    log = Log(store, KeyFolder(tmp_path / "keys"), "limbtier.invalid/test")
    yield log
    log.close()


@pytest.fixture
def steps(log: Log, rules: ReadyRules) -> QuickReleases:
    return steps_over(log, rules)


def refused(step: Callable[[], object], error: type[LimbtierError] = StepRefused) -> list[str]:
    """The codes with which a step is refused."""
    with pytest.raises(error) as caught:
        step()
    return [item.code for item in caught.value.diagnostics]


def test_any_save_puts_a_draft_back_and_voids_what_was_found(steps: QuickReleases, rules: ReadyRules) -> None:
    files = local_files(rules)
    draft = approved(steps, files)
    assert (draft.state, draft.approver) == ("approved", APPROVER.id)
    again = steps.save(EDITOR, FIRST, files, draft.etag)
    assert (again.state, again.revision, again.digest) == ("draft", 2, draft.digest)
    assert (again.check, again.proof, again.judged, again.approver) == (None, None, None, None)
    assert again.etag != draft.etag
    assert refused(lambda: steps.release(APPROVER, FIRST, draft.etag), DraftStale) == ["draft-changed"]
    assert refused(lambda: steps.release(APPROVER, FIRST, again.etag)) == ["not-checked"]


def test_whoever_ever_saved_a_draft_cannot_approve_it(steps: QuickReleases, rules: ReadyRules) -> None:
    draft = proved(steps, local_files(rules))
    assert refused(lambda: steps.approve(EDITOR, FIRST, draft.etag)) == ["own-draft"]
    third = Caller("token:third", EDITOR.organisation, SCOPES)
    steps.save(third, FIRST, local_files(rules), draft.etag)
    steps.check(third, FIRST)
    draft = steps.prove(third, FIRST)
    assert draft.savers == (EDITOR.id, third.id)
    for one in (EDITOR, third):
        assert refused(partial(steps.approve, one, FIRST, draft.etag)) == ["own-draft"]
    assert steps.approve(APPROVER, FIRST, draft.etag).state == "approved"
    assert refused(lambda: steps.approve(APPROVER, FIRST, draft.etag)) == ["already-approved"]


def test_neither_copying_nor_discarding_washes_off_who_saved(steps: QuickReleases, rules: ReadyRules) -> None:
    draft = proved(steps, local_files(rules))
    copy = steps.copy(APPROVER, FIRST, "2026.2.0")
    assert copy.savers == (EDITOR.id, APPROVER.id)
    steps.discard(EDITOR, FIRST, draft.etag)
    with pytest.raises(NotFound):
        steps.find(EDITOR, FIRST)
    again = steps.save(APPROVER, FIRST, local_files(rules), None)
    assert (again.savers, again.revision) == ((EDITOR.id, APPROVER.id), 2)


def test_a_draft_is_not_there_for_another_organisation(steps: QuickReleases, rules: ReadyRules) -> None:
    draft = proved(steps, local_files(rules))
    for step in (
        lambda: steps.find(STRANGER, FIRST),
        lambda: steps.check(STRANGER, FIRST),
        lambda: steps.prove(STRANGER, FIRST),
        lambda: steps.approve(STRANGER, FIRST, draft.etag),
        lambda: steps.release(STRANGER, FIRST, draft.etag),
        lambda: steps.discard(STRANGER, FIRST, draft.etag),
        lambda: steps.save(STRANGER, FIRST, local_files(rules), draft.etag),
    ):
        assert refused(step, NotFound) == ["unknown-draft"]
    assert refused(lambda: steps.copy(STRANGER, FIRST, "2026.2.0"), NotFound) == ["unknown-edition"]
    assert steps.all(STRANGER) == []


def test_every_finding_of_loading_and_of_the_checks_is_kept(steps: QuickReleases, rules: ReadyRules) -> None:
    files = local_files(rules)
    bad = {
        **files,
        "rules/local.yaml": "topic: A\nrules: [{id: &x a, id: b}]\n",
        "tiers.yaml": "nothing: 1\n",
    }
    steps.save(EDITOR, FIRST, bad, None)
    draft = steps.check(EDITOR, FIRST)
    assert draft.state == "draft"
    text = (draft.check or b"").decode()
    assert "larchmere/2026.1.0/rules/local.yaml" in text
    assert "larchmere/2026.1.0/tiers.yaml" in text
    assert refused(lambda: steps.prove(EDITOR, FIRST)) == ["check-has-errors"]
    assert refused(lambda: steps.approve(APPROVER, FIRST, draft.etag)) == ["check-has-errors"]


def test_what_is_not_proved_is_not_approved_and_each_reason_is_told(
    steps: QuickReleases, rules: ReadyRules
) -> None:
    steps.unproved = {"a": "counterexample", "b": "inconclusive"}
    draft = proved(steps, local_files(rules))
    assert draft.state == "checked"
    assert refused(lambda: steps.approve(EDITOR, FIRST, draft.etag)) == [
        "not-proved",
        "not-proved",
        "own-draft",
    ]
    assert refused(lambda: steps.release(APPROVER, FIRST, draft.etag)) == ["not-proved", "not-proved"]


@pytest.mark.parametrize(
    "name",
    [
        "../edition.yaml", "/etc/passwd", "rules/../../x.yaml", "rules\\a.yaml", "rules/a/b.yaml",
        "rules/.yaml",
        "rules/\u0430.yaml", "edition.yaml\n", "Edition.yaml", "rules/A.yaml", "cases/a.yml", "",
        ".hidden.md",
        "rules/a.yaml\0", "checks.yaml", "released.yaml", "rules/" + "a" * 65 + ".yaml", "edition.yaml ",
    ],
)  # fmt: skip
def test_no_other_path_than_those_of_an_edition_is_kept(
    steps: QuickReleases, rules: ReadyRules, log: Log, name: str
) -> None:
    files = {**local_files(rules), name: "x: 1\n"}
    assert refused(lambda: steps.save(EDITOR, FIRST, files, None), InvalidDraft) == ["bad-path"]
    assert log.size == 0


@pytest.mark.parametrize(
    ("files", "codes"),
    [
        ({}, ["no-files"]),
        ([], ["wrong-type"]),
        (None, ["wrong-type"]),
        ({"edition.yaml": 1, "x": None}, ["wrong-type", "bad-path", "wrong-type"]),
        ({"edition.yaml": "a\0b"}, ["bad-text"]),
        ({f"rules/r{number}.yaml": "" for number in range(65)}, ["draft-too-large"]),
        ({"edition.yaml": "ä" * 1_000_001}, ["draft-too-large"]),
    ],
)
def test_what_cannot_be_a_draft_is_refused(
    steps: QuickReleases, log: Log, files: object, codes: list[str]
) -> None:
    assert refused(lambda: steps.save(EDITOR, FIRST, files, None), InvalidDraft) == codes
    assert log.size == 0


@pytest.mark.parametrize(
    "edition",
    [
        "larchmere",
        "larchmere-1",
        "../x-2026.1.0",
        "l\u0430rchmere-2026.1.0",
        "guard_rails-2026.1.0",
        "x-2026.1.0\n",
        "",
    ],
)
def test_no_other_id_than_that_of_an_edition_is_kept(
    steps: QuickReleases, rules: ReadyRules, edition: str
) -> None:
    files = local_files(rules)
    assert refused(lambda: steps.save(EDITOR, edition, files, None), InvalidDraft) == ["bad-edition-id"]


def test_ten_thousand_rules_and_a_bomb_of_aliases_are_findings(
    steps: QuickReleases, rules: ReadyRules
) -> None:
    one = (
        "  - {{id: rule-{0}, title: T, when: {{diabetes: yes}}, then: {{caution: Look.}}, because: Why., "
        "sources: [common-practice], reason: A reason in five words., decided_by: lead nurse}}\n"
    )
    many = {f"rules/r{part}.yaml": "topic: T\nrules:\n" + "".join(
        one.format(f"{part}-{number}") for number in range(1000)
    ) for part in range(10)}  # fmt: skip
    steps.save(EDITOR, FIRST, {**local_files(rules), **many}, None)
    check = (steps.check(EDITOR, FIRST).check or b"").decode()
    assert "edition-too-large" in check
    bomb = "a: &a [x]\n" + "".join(f"b{n}: &b{n} [*a, *a]\n" for n in range(40)) + "c: " + "[" * 3000
    steps.save(EDITOR, SECOND, {**local_files(rules, "2026.2.0"), "rules/local.yaml": bomb}, None)
    draft = steps.check(EDITOR, SECOND)
    assert draft.state == "draft"
    assert "rules/local.yaml" in (draft.check or b"").decode()


def test_of_two_who_change_the_same_draft_the_second_is_refused(
    steps: QuickReleases, rules: ReadyRules
) -> None:
    files = local_files(rules)
    draft = steps.save(EDITOR, FIRST, files, None)
    assert refused(lambda: steps.save(APPROVER, FIRST, files, None), DraftStale) == ["draft-exists"]
    steps.save(APPROVER, FIRST, {**files, "NOTES.md": ""}, draft.etag)
    assert refused(lambda: steps.save(EDITOR, FIRST, files, draft.etag), DraftStale) == ["draft-changed"]
    assert steps.find(EDITOR, FIRST)[1]["NOTES.md"] == ""


def test_a_release_is_refused_with_every_reason_that_stands_against_it(
    steps: QuickReleases, rules: ReadyRules, log: Log
) -> None:
    released(steps, local_files(rules, first=TOMORROW))
    late = approved(steps, local_files(rules, "2026.2.0", first=TODAY), "2026.2.0")
    assert refused(lambda: steps.release(APPROVER, SECOND, late.etag)) == ["newer-release"]
    later = steps_over(log, rules, lambda: NOON + timedelta(days=1))
    assert refused(lambda: later.release(APPROVER, SECOND, late.etag)) == [
        "effective-from-past",
        "newer-release",
    ]
    theirs = Caller("key:their-approver", STRANGER.organisation, SCOPES)
    files = local_files(rules, "2026.3.0", first=TOMORROW + timedelta(days=9))
    steps.save(STRANGER, "larchmere-2026.3.0", files, None)
    steps.check(STRANGER, "larchmere-2026.3.0")
    draft = steps.prove(STRANGER, "larchmere-2026.3.0")
    steps.approve(theirs, draft.edition, draft.etag)
    assert refused(lambda: steps.release(theirs, draft.edition, draft.etag)) == ["set-of-another"]
    assert [one["edition"] for one in records(log) if one["kind"] == "edition_released"] == [FIRST]


def test_what_is_released_is_never_a_draft_again(steps: QuickReleases, rules: ReadyRules) -> None:
    draft = released(steps, local_files(rules))
    files = local_files(rules)
    for step in (
        lambda: steps.save(EDITOR, FIRST, files, draft.etag),
        lambda: steps.save(EDITOR, CORE, files, None),
        lambda: steps.check(EDITOR, FIRST),
        lambda: steps.prove(EDITOR, FIRST),
        lambda: steps.approve(APPROVER, FIRST, draft.etag),
        lambda: steps.release(APPROVER, FIRST, draft.etag),
        lambda: steps.discard(EDITOR, FIRST, draft.etag),
    ):
        assert refused(step) == ["edition-exists"]


def test_a_clock_behind_the_log_takes_no_step(steps: QuickReleases, rules: ReadyRules, log: Log) -> None:
    draft = approved(steps, local_files(rules))
    slow = steps_over(log, rules, lambda: NOON - timedelta(days=1))
    assert refused(lambda: slow.release(APPROVER, FIRST, draft.etag)) == ["clock-behind"]
    assert refused(lambda: slow.save(EDITOR, SECOND, local_files(rules, "2026.2.0"), None)) == [
        "clock-behind"
    ]
    a_little = steps_over(log, rules, lambda: NOON - timedelta(seconds=50))
    assert a_little.release(APPROVER, FIRST, draft.etag).state == "released"


def test_the_last_edition_in_force_of_the_set_that_decides_stays(
    steps: QuickReleases, rules: ReadyRules
) -> None:
    core = [one.edition for one in rules.editions.values() if one.edition.name == "core"]
    in_force = [one.id for one in core if one.status == "released" and one.effective_from <= TODAY]
    for name in in_force[:-1]:
        steps.retire(APPROVER, name, "Replaced.")
    assert refused(lambda: steps.retire(APPROVER, in_force[-1], "No more.")) == ["last-in-force"]
    assert refused(lambda: steps.retire(APPROVER, in_force[0], "Again.")) == (
        ["not-released"] if in_force[:-1] else ["last-in-force"]
    )
    assert refused(lambda: steps.retire(APPROVER, "core-2020.1.0", "None."), NotFound) == ["unknown-edition"]


def test_where_one_organisation_governs_others_change_nothing(
    steps: QuickReleases, rules: ReadyRules, log: Log
) -> None:
    """Without it, a single approver of any organisation retires an edition that nobody released here."""
    draft = proved(steps, local_files(rules))
    open_to_all = log.size
    steps.governing = "larchmere"
    for step in (
        lambda: steps.save(EDITOR, SECOND, local_files(rules, "2026.2.0"), None),
        lambda: steps.save(EDITOR, FIRST, local_files(rules), draft.etag),
        lambda: steps.copy(EDITOR, FIRST, "2026.2.0"),
        lambda: steps.check(EDITOR, FIRST),
        lambda: steps.prove(EDITOR, FIRST),
        lambda: steps.approve(APPROVER, FIRST, draft.etag),
        lambda: steps.release(APPROVER, FIRST, draft.etag),
        lambda: steps.retire(APPROVER, "quillerbeck-2026.1.0", "Not ours."),
    ):
        assert refused(step) == ["not-governing"]
    assert log.size == open_to_all
    assert steps.all(EDITOR) == [draft]
    steps.governing = EDITOR.organisation
    assert steps.approve(APPROVER, FIRST, draft.etag).state == "approved"
    steps.governing = None
    steps.retire(STRANGER, "quillerbeck-2026.1.0", "Ours or not.")


def test_releases_leave_room_for_drafts(
    steps: QuickReleases, rules: ReadyRules, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(release_drafts, "MOST_DRAFTS", 1)
    released(steps, local_files(rules))
    assert steps.save(EDITOR, SECOND, local_files(rules, "2026.2.0"), None).state == "draft"


def test_a_folder_of_other_rule_files_is_no_set(steps: QuickReleases, rules: ReadyRules) -> None:
    folders = {one.name for one in RULES.iterdir() if one.is_dir()}
    for name in folders - {one.edition.name for one in rules.editions.values()}:
        step = partial(steps.save, EDITOR, f"{name}-2026.1.0", local_files(rules), None)
        assert refused(step, InvalidDraft) == ["bad-edition-id"]


def test_of_very_many_unknown_fields_the_first_are_named() -> None:
    found = refused(lambda: read_members({f"f{n}": 1 for n in range(100_000)}, ("reason",)), InvalidDraft)
    assert 1 < len(found) < 100


def test_going_back_is_a_copy_under_a_new_version(steps: QuickReleases, rules: ReadyRules, log: Log) -> None:
    released(steps, local_files(rules))
    copy = steps.copy(EDITOR, FIRST, "2026.2.0", TOMORROW.isoformat())
    steps.check(EDITOR, SECOND)
    steps.prove(EDITOR, SECOND)
    steps.approve(APPROVER, SECOND, copy.etag)
    steps.release(APPROVER, SECOND, copy.etag)
    now_and_then = steps.released.decider.rules.editions
    assert now_and_then[SECOND].edition.effective_from == TOMORROW
    assert now_and_then[SECOND].edition.rules == now_and_then[FIRST].edition.rules
    core = steps.copy(EDITOR, CORE, "2026.9.0", "2026-12-20")
    assert (steps.check(EDITOR, core.edition).state, core.savers) == ("checked", (EDITOR.id,))


def test_an_edition_may_be_based_on_one_released_through_the_service(
    steps: QuickReleases, rules: ReadyRules, log: Log
) -> None:
    released(steps, local_files(rules))
    files = local_files(steps.released.decider.rules, "2026.2.0", TOMORROW, FIRST)
    draft = approved(steps, files, "2026.2.0")
    steps.retire(APPROVER, FIRST, "A mistake was found.")
    assert refused(lambda: steps.release(APPROVER, SECOND, draft.etag)) == ["base-not-released"]


def test_another_worker_takes_up_a_release_and_a_retirement_whole(
    steps: QuickReleases, rules: ReadyRules, log: Log
) -> None:
    other = steps_over(log, rules).released
    before = other.decider.rules
    other.follow()
    assert other.decider.rules is before
    released(steps, local_files(rules))
    other.follow()
    loaded = other.decider.rules.editions[FIRST]
    [entry] = [one for one in records(log) if one["kind"] == "edition_released"]
    assert (loaded.edition.digest, loaded.edition.status) == (entry["digest"], "released")
    assert FIRST not in before.editions
    steps.retire(APPROVER, FIRST, "Replaced.")
    other.follow()
    assert other.decider.rules.editions[FIRST].edition.status == "retired"
    started = rules_at_start(RULES, None, EditionTable(log.store.database), log.store)
    assert {name: one.edition for name, one in started.editions.items()} == {
        name: one.edition for name, one in other.decider.rules.editions.items()
    }


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE released_editions SET digest = 'sha256:' || 'x'",
        "UPDATE released_editions SET files = (SELECT files FROM drafts WHERE edition LIKE '%.2.0')",
        "UPDATE released_editions SET files = X'00'",
        (
            "INSERT INTO released_editions SELECT 'larchmere-2026.9.0', organisation, digest, 0, files "
            "FROM released_editions"
        ),
    ],
)
def test_what_cannot_be_loaded_as_it_was_released_leaves_the_rules_and_raises_the_alarm(
    steps: QuickReleases, rules: ReadyRules, log: Log, damage: str, caplog: pytest.LogCaptureFixture
) -> None:
    released(steps, local_files(rules))
    changed = {**local_files(rules), "NOTES.md": "Something else."}
    draft = steps.save(EDITOR, SECOND, changed, None)
    with log.store.database.writing() as cursor:
        cursor.execute(damage)
    other = steps_over(log, rules)
    with caplog.at_level(logging.CRITICAL, "limbtier.alarm"):
        for _ in range(3):
            other.released.follow()
    assert other.released.decider.rules is rules
    assert [item.code for item in other.released.faults] == ["release-not-loaded"]
    assert len([one for one in caplog.records if "release-not-loaded" in one.getMessage()]) == 1
    assert refused(lambda: other.release(APPROVER, SECOND, draft.etag)) == ["release-not-loaded"]
    with pytest.raises(LimbtierError):
        rules_at_start(RULES, None, EditionTable(log.store.database), log.store)


def test_a_folder_of_the_same_id_must_hold_the_same_edition(
    steps: QuickReleases, rules: ReadyRules, log: Log, tmp_path: Path
) -> None:
    files = local_files(rules)
    released(steps, files)
    folder = tmp_path / "rules"
    folder.mkdir()
    for entry in RULES.iterdir():
        (folder / entry.name).symlink_to(entry)
    for name, text in files.items():
        (folder / "larchmere" / "2026.1.0" / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / "larchmere" / "2026.1.0" / name).write_text(text)
    editions = EditionTable(log.store.database)
    started = rules_at_start(folder, None, editions, log.store)
    assert started.editions[FIRST].edition.status == "released"
    (folder / "larchmere" / "2026.1.0" / "NOTES.md").write_text("Changed.")
    with pytest.raises(InvalidRuleFiles, match="was released through the service as sha256"):
        rules_at_start(folder, None, editions, log.store)


def at_once(*works: Callable[[], object]) -> list[str]:
    """What becomes of works that begin together: `done`, or the code of the refusal."""
    ready, found = threading.Barrier(len(works)), []

    def run(work: Callable[[], object]) -> None:
        ready.wait()
        try:
            work()
            found.append("done")
        except LimbtierError as error:
            found.append(error.diagnostics[0].code)

    threads = [threading.Thread(target=run, args=(work,)) for work in works]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sorted(found)


def test_of_two_releases_of_a_set_at_once_by_two_workers_one_is_refused(
    database: Database, rules: ReadyRules, tmp_path: Path
) -> None:
    store = EntryStore(database)
    log = Log(store, KeyFolder(tmp_path / "keys"), "limbtier.invalid/test")
    workers = [steps_over(log, rules) for _ in range(2)]
    drafts = [
        approved(workers[0], local_files(rules, version), version) for version in ("2026.1.0", "2026.2.0")
    ]
    found = at_once(
        *(
            partial(worker.release, APPROVER, draft.edition, draft.etag)
            for worker, draft in zip(workers, drafts, strict=True)
        )
    )
    assert found == ["done", "newer-release"]
    assert len([one for one in records(log) if one["kind"] == "edition_released"]) == 1
    assert len(EditionTable(database).listing().released) == 1
    states = {workers[0].find(EDITOR, one.edition)[0].state for one in drafts}
    assert states == {"approved", "released"}
    log.close()


def test_of_two_who_approve_or_save_at_once_one_is_refused(
    database: Database, rules: ReadyRules, tmp_path: Path
) -> None:
    log = Log(EntryStore(database), KeyFolder(tmp_path / "keys"), "limbtier.invalid/test")
    steps = steps_over(log, rules)
    draft = proved(steps, local_files(rules))
    found = at_once(*[lambda: steps.approve(APPROVER, FIRST, draft.etag)] * 2)
    assert found in (["already-approved", "done"], ["done", "draft-changed"])
    files = local_files(rules)
    found = at_once(*[lambda: steps.save(EDITOR, FIRST, files, draft.etag)] * 3)
    assert found == ["done", "draft-changed", "draft-changed"]
    kinds = [one["kind"] for one in records(log)]
    assert (kinds.count("edition_approved"), kinds.count("edition_saved")) == (1, 2)
    log.close()


def test_a_retired_edition_decides_nothing_new_for_who_names_it(
    steps: QuickReleases, rules: ReadyRules
) -> None:
    released(steps, local_files(rules))
    decider = steps.released.decider
    body = CONTACT.replace(b"{", b'{"edition": "larchmere-2026.1.0", ', 1)
    decision, _ = decider.decision(body)
    assert decision.edition_id == FIRST
    steps.retire(APPROVER, FIRST, "A mistake was found.")
    assert refused(lambda: decider.decision(body), InvalidAssessment) == ["unknown-edition"]
    assert decider.decision(CONTACT)[0].edition_id == CORE


def test_an_organisation_has_so_many_drafts_and_no_more(
    steps: QuickReleases, rules: ReadyRules, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(release_drafts, "MOST_DRAFTS", 1)
    files = local_files(rules)
    draft = steps.save(EDITOR, FIRST, files, None)
    assert refused(lambda: steps.save(EDITOR, SECOND, files, None)) == ["too-many-drafts"]
    assert steps.save(STRANGER, SECOND, files, None).revision == 1
    assert steps.save(EDITOR, FIRST, files, draft.etag).revision == 2
    steps.discard(EDITOR, FIRST, steps.find(EDITOR, FIRST)[0].etag)
    assert steps.save(EDITOR, SECOND, files, None).revision == 1


def test_what_was_changed_in_the_folder_since_it_was_loaded_is_not_copied(
    rules: ReadyRules, log: Log, tmp_path: Path
) -> None:
    folder = tmp_path / "core" / "2026.1.0"
    folder.mkdir(parents=True)
    (folder / "edition.yaml").write_text("changed: yes\n")
    steps = steps_over(log, rules, folder=tmp_path)
    assert refused(lambda: steps.copy(EDITOR, CORE, "2026.9.0")) == ["edition-changed"]
    local = next(name for name, one in rules.editions.items() if one.edition.based_on is not None)
    assert steps_over(log, rules).copy(EDITOR, local, "2026.9.0").savers == (EDITOR.id,)


def test_a_set_that_was_only_released_through_the_service_can_be_the_one_that_decides(
    steps: QuickReleases, rules: ReadyRules, log: Log
) -> None:
    released(steps, local_files(rules))
    started = rules_at_start(RULES, "larchmere", EditionTable(log.store.database), log.store)
    active = started.edition(None, NOON)
    assert active is not None
    assert active.edition.id == FIRST


def test_a_folder_that_is_prepared_where_the_service_reads_is_released_only_as_it_is(
    log: Log, rules: ReadyRules, tmp_path: Path
) -> None:
    for entry in RULES.iterdir():
        (tmp_path / entry.name).symlink_to(entry)
    files = local_files(rules)
    folder = tmp_path / "larchmere" / "2026.1.0"
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    before = rules_at_start(tmp_path, None, EditionTable(log.store.database), log.store)
    assert before.editions[FIRST].edition.status == "draft"
    steps = steps_over(log, before, folder=tmp_path)
    other = approved(steps, {**files, "NOTES.md": "Not in the folder."})
    assert refused(lambda: steps.release(APPROVER, FIRST, other.etag)) == ["edition-exists"]
    same = steps.save(EDITOR, FIRST, files, other.etag)
    steps.check(EDITOR, FIRST)
    steps.prove(EDITOR, FIRST)
    steps.approve(APPROVER, FIRST, same.etag)
    assert steps.release(APPROVER, FIRST, same.etag).state == "released"
    assert steps.released.decider.rules.editions[FIRST].edition.status == "released"
