"""The log on both databases: it signs what it can prove, once, and takes nothing while it cannot."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import bindparam, update

from limbtier.audit import log as log_module
from limbtier.audit.checkpoint_key import CHECKPOINT, KEY, NEXT, KeyFolder, Rotation
from limbtier.audit.log import Log
from limbtier.domain.entry import DecisionFilter
from limbtier.foundation.errors import StoreUnavailable
from limbtier.foundation.merkle import EMPTY_ROOT, leaf_hash, verify_consistency, verify_inclusion
from limbtier.foundation.signed_note import Checkpoint, open_note
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from limbtier.store.tables import log_head
from tests.support.log_entries import NOON, decision_entry, other_entry

ORIGIN = "log.invalid/quillerbeck"
Open = Callable[[], Log]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "keys"


@pytest.fixture
def open_log(address: str, folder: Path) -> Iterator[Open]:
    """Return what opens the same log again and again."""
    opened: list[Log] = []

    def open_one() -> Log:
        opened.append(Log(EntryStore(open_database(address)), KeyFolder(folder), ORIGIN))
        return opened[-1]

    yield open_one
    for one in opened:
        one.close()


def change(log: Log, *statements: str) -> None:
    """Change the database behind the log's back."""
    with log.store.database.writing() as cursor:
        for statement in statements:
            cursor.execute(statement)


def fill(log: Log, count: int) -> None:
    log.store.append([decision_entry(number) for number in range(count)])


def read(log: Log, note: str) -> Checkpoint:
    return Checkpoint.read(open_note(note, log.verifier_keys).text)


def fault_of(log: Log) -> str:
    fault = log.state.fault
    return "" if fault is None else str(fault)


# What is sound.


def test_a_new_log_makes_its_key_and_signs_that_it_is_empty(open_log: Open, folder: Path) -> None:
    log = open_log()
    assert log.state.fault is None
    note = log.checkpoint()
    assert read(log, note) == Checkpoint(ORIGIN, 0, EMPTY_ROOT)
    assert (folder / CHECKPOINT).read_text(encoding="utf-8") == note
    assert [one.note for one in log.checkpoints()] == [note]
    log.check()


def test_a_checkpoint_covers_every_entry_and_is_signed_once_for_a_size(open_log: Open, folder: Path) -> None:
    log, other = open_log(), open_log()
    fill(log, 3)
    first = log.checkpoint()
    assert read(log, first) == Checkpoint(ORIGIN, 3, log.store.head().root())
    assert other.checkpoint() == log.checkpoint() == first
    fill(other, 2)
    second = log.checkpoint()
    assert read(log, second).size == 5
    assert [one.size for one in log.checkpoints()] == [0, 3, 5]
    assert (folder / CHECKPOINT).read_text(encoding="utf-8") == second


def test_a_log_that_is_opened_again_goes_on(open_log: Open) -> None:
    first = open_log()
    fill(first, 130)
    note = first.checkpoint()
    again = open_log()
    assert again.state.fault is None
    assert again.verifier_keys == first.verifier_keys
    assert again.checkpoint() == note
    assert again.append(other_entry()) == 130


def test_proofs_hold_for_every_entry_and_every_pair_of_sizes(open_log: Open) -> None:
    log = open_log()
    entries = [decision_entry(number) for number in range(20)]
    log.store.append(entries)
    for size in range(1, 21):
        for position in range(size):
            proof = log.inclusion(position, size)
            assert proof.leaf == leaf_hash(entries[position].data)
            assert verify_inclusion(position, size, proof.leaf, proof.hashes, proof.root)
        for old in range(1, size + 1):
            two = log.consistency(old, size)
            assert verify_consistency(old, size, two.old_root, two.root, two.hashes)
            assert two.old_root == log.inclusion(0, old).root


@pytest.mark.parametrize(("position", "size"), [(0, 0), (2, 2), (-1, 2), (0, 3)])
def test_there_is_no_proof_of_an_entry_outside_the_log(open_log: Open, position: int, size: int) -> None:
    log = open_log()
    fill(log, 2)
    with pytest.raises(ValueError, match=r"there is no leaf|does not have"):
        log.inclusion(position, size)


@pytest.mark.parametrize(("old", "new"), [(0, 1), (2, 1), (1, 3)])
def test_there_is_no_proof_between_sizes_outside_the_log(open_log: Open, old: int, new: int) -> None:
    log = open_log()
    fill(log, 2)
    with pytest.raises(ValueError, match=r"no consistency proof|does not have"):
        log.consistency(old, new)


def test_the_proof_of_an_entry_names_a_checkpoint_that_covers_it(open_log: Open) -> None:
    log = open_log()
    entry = decision_entry()
    log.append(other_entry())
    log.append(entry)
    head, _, note = log.proof_of(entry.id).partition("\n\n")
    kind, index, *_ = head.splitlines()
    assert (kind, index) == ("c2sp.org/tlog-proof@v1", "index 1")
    assert read(log, note).size == 2
    log.append(other_entry())
    assert log.proof_of(entry.id) == f"{head}\n\n{note}"
    with pytest.raises(KeyError):
        log.proof_of("unknown")


def test_a_decision_is_its_own_organisations(open_log: Open) -> None:
    log = open_log()
    mine, act = decision_entry(), other_entry()
    log.append(mine)
    log.append(act)
    assert log.decision(mine.id, "quillerbeck") == mine.data
    assert log.decision(mine.id, "elsewhere") is None
    assert log.decision(act.id, "quillerbeck") is None
    assert log.decision("unknown", "quillerbeck") is None


def test_a_clock_that_goes_back_disturbs_nothing(open_log: Open, address: str, folder: Path) -> None:
    from datetime import timedelta

    from tests.support.log_entries import NOON

    moments = iter([NOON - timedelta(days=days) for days in range(100)])
    log = Log(EntryStore(open_database(address)), KeyFolder(folder), ORIGIN, clock=lambda: next(moments))
    for days in range(3):
        log.append(decision_entry(at=NOON - timedelta(days=days)))
        log.checkpoint()
    log.close()
    assert open_log().state.fault is None
    assert [one.size for one in open_log().checkpoints()] == [0, 1, 2, 3]


# Changing the key.


def test_a_new_key_is_vouched_for_by_the_old_one(open_log: Open) -> None:
    log, other = open_log(), open_log()
    fill(log, 2)
    old = log.verifier_keys[-1]
    new = log.rotate_key()
    assert log.verifier_keys == (old, new)
    entry = log.store.entry(2)
    assert entry is not None
    assert entry.kind == "log_key_rotated"
    assert f'"old":"{old}"'.encode() in entry.data
    assert f'"new":"{new}"'.encode() in entry.data
    handed_over = log.checkpoint()
    assert open_note(handed_over, [old, new]).verified == (old, new)
    assert read(log, handed_over).size == 3
    for one in (other, log):
        one.append(other_entry())
        opened = open_note(one.checkpoint(), [old, new])
        assert (opened.verified, opened.unknown) == ((new,), ())
    assert other.verifier_keys == (old, new)
    assert open_log().state.fault is None


def test_a_change_of_keys_that_stopped_half_way_is_ended_or_dropped(open_log: Open, folder: Path) -> None:
    log = open_log()
    fill(log, 1)
    log.checkpoint()
    keys = KeyFolder(folder).read()
    assert keys is not None
    # It stopped before its entry was in the log.
    KeyFolder(folder).begin_rotation(Rotation("never", keys.followed_by(ORIGIN)))
    assert open_log().verifier_keys == keys.verifiers
    assert not (folder / NEXT).exists()
    # It stopped after that, before the new key was taken into use.
    following = keys.followed_by(ORIGIN)
    members = {"old": str(keys.signing.verifier), "new": str(following.signing.verifier)}
    entry = log.service_entry("log_key_rotated", members)
    KeyFolder(folder).begin_rotation(Rotation(entry.id, following))
    log.store.append([entry])
    again = open_log()
    assert again.state.fault is None
    assert KeyFolder(folder).read() == following
    assert open_note(again.checkpoint(), following.verifiers).verified == following.verifiers
    # And so once more, when even the checkpoint of both was signed.
    assert open_log().checkpoint() == again.checkpoint()


def test_two_changes_of_keys_follow_one_another(open_log: Open) -> None:
    log = open_log()
    keys = [log.verifier_keys[0], log.rotate_key(), log.rotate_key()]
    assert list(log.verifier_keys) == keys
    signers = [open_note(one.note, keys).verified for one in log.checkpoints()]
    assert signers == [(keys[0],), (keys[0], keys[1]), (keys[1], keys[2])]


# What is not sound: nothing is appended or signed, reading goes on.


def refuses(log: Log, message: str) -> None:
    entry = log.store.entry_by_id("unknown")
    assert entry is None
    size = log.store.extent()[0]
    for work in (lambda: log.append(other_entry()), log.checkpoint, log.rotate_key, log.check):
        with pytest.raises(StoreUnavailable, match=message):
            work()
    assert log.store.extent()[0] == size


def test_entries_that_were_cut_off_are_noticed(open_log: Open) -> None:
    first = open_log()
    fill(first, 4)
    peaks = first.store.head().peaks
    fill(first, 3)
    first.checkpoint()
    change(
        first,
        "DELETE FROM entries WHERE position >= 4",
        "DELETE FROM hashes WHERE number >= 7",
        "DELETE FROM checkpoints WHERE size > 4",
    )
    database = first.store.database
    with database.writing() as cursor:
        head = update(log_head).values(size=bindparam("new_size"), peaks=bindparam("new_peaks"))
        cursor.execute(database.text(head), (4, b"".join(peaks)))
    log = open_log()
    assert "The checkpoint beside the key is over 7 entries, but the log has 4" in fault_of(log)
    refuses(log, "is over 7 entries, but the log has 4")
    assert [one.position for one in log.store.entries_from(0, 4)] == [0, 1, 2, 3]


def test_an_entry_that_was_changed_is_noticed(open_log: Open) -> None:
    first = open_log()
    fill(first, 4)
    change(
        first, "UPDATE entries SET data = (SELECT data FROM entries WHERE position = 0) WHERE position = 2"
    )
    log = open_log()
    refuses(log, "Entry 2 of the log is not as it was appended")
    with pytest.raises(StoreUnavailable, match="Entry 2"):
        log.store.entry(2)
    assert log.store.entry(1) is not None


@pytest.mark.parametrize(
    ("statement", "message"),
    [
        ("DELETE FROM entries WHERE position = 1", "The log should have 4 entries; it has 3"),
        ("DELETE FROM hashes WHERE number = 6", "does not fit its hashes|A hash of the log is missing"),
        ("DELETE FROM hashes WHERE number = 1", "A hash of the log is missing"),
        ("UPDATE log_head SET size = 3", "The head of the log does not fit itself"),
        ("DELETE FROM log_head", "The head of the log is missing"),
        (
            "UPDATE hashes SET hash = (SELECT hash FROM hashes WHERE number = 0) WHERE number = 6",
            "does not fit",
        ),
        ("UPDATE checkpoints SET note = 'x' WHERE size = 4", "The last checkpoint cannot be trusted"),
    ],
)
def test_damage_of_the_database_is_noticed(open_log: Open, statement: str, message: str) -> None:
    first = open_log()
    fill(first, 4)
    first.checkpoint()
    change(first, statement)
    refuses(open_log(), message)


def test_a_history_that_was_rewritten_is_noticed(open_log: Open) -> None:
    first = open_log()
    fill(first, 4)
    first.checkpoint()
    change(
        first,
        "DELETE FROM entries",
        "DELETE FROM hashes",
        "DELETE FROM decisions",
        "DELETE FROM decided_limbs",
        "DELETE FROM checkpoints",
        "UPDATE log_head SET size = 0, peaks = ''",
    )
    forger = EntryStore(first.store.database)
    forger.append([decision_entry(number) for number in range(9)])
    refuses(open_log(), "The log does not continue what the checkpoint beside the key, over 4 entries, signs")


def test_a_log_that_cannot_prove_itself_when_it_signs_signs_nothing(open_log: Open, folder: Path) -> None:
    log = open_log()
    fill(log, 4)
    before = log.checkpoint()
    fill(log, 1)
    change(log, "UPDATE hashes SET hash = (SELECT hash FROM hashes WHERE number = 0) WHERE number = 6")
    with pytest.raises(StoreUnavailable, match="does not continue what the last checkpoint"):
        log.checkpoint()
    assert "does not continue" in fault_of(log)
    assert (folder / CHECKPOINT).read_text(encoding="utf-8") == before
    refuses(log, "does not continue")


def test_a_key_that_has_gone_is_not_made_anew(open_log: Open, folder: Path) -> None:
    fill(open_log(), 2)
    (folder / KEY).unlink()
    refuses(open_log(), "The log was signed, but there is no key")
    (folder / CHECKPOINT).unlink()
    refuses(open_log(), "The log was signed, but there is no key")
    assert not (folder / KEY).exists()


def test_a_key_of_another_log_signs_nothing(open_log: Open, folder: Path, tmp_path: Path) -> None:
    fill(open_log(), 2)
    (folder / CHECKPOINT).unlink()
    (folder / KEY).unlink()
    KeyFolder(folder).make(ORIGIN)
    refuses(open_log(), "The last checkpoint cannot be trusted: No known key has signed the note")


def test_a_key_of_another_name_signs_nothing(address: str, open_log: Open, folder: Path) -> None:
    open_log()
    log = Log(EntryStore(open_database(address)), KeyFolder(folder), "another.invalid/log")
    assert f"is of the log {ORIGIN}, not of another.invalid/log" in fault_of(log)
    log.close()


def test_a_key_that_was_changed_elsewhere_signs_nothing(open_log: Open, folder: Path, address: str) -> None:
    log = open_log()
    copied = folder.parent / "copied"
    copied.mkdir(mode=0o700)
    for file in folder.iterdir():
        (copied / file.name).write_bytes(file.read_bytes())
        (copied / file.name).chmod(0o600)
    log.rotate_key()
    other = Log(EntryStore(open_database(address)), KeyFolder(copied), ORIGIN)
    assert "is signed by a key that is not here, too: the key was changed elsewhere" in fault_of(other)
    other.close()


def test_a_key_that_others_can_read_signs_nothing(open_log: Open, folder: Path) -> None:
    open_log()
    (folder / KEY).chmod(0o644)
    refuses(open_log(), "Others may use")


def test_what_is_put_right_is_noticed_without_a_new_start(
    open_log: Open, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    open_log()
    (folder / KEY).chmod(0o644)
    log = open_log()
    refuses(log, "Others may use")
    (folder / KEY).chmod(0o600)
    refuses(log, "Others may use")  # it is not looked at again at once
    monkeypatch.setattr(log_module, "PROVE_AGAIN_AFTER", 0.0)
    assert log.append(other_entry()) == 0
    assert log.state.fault is None
    log.check()


def test_a_key_that_goes_while_the_service_runs_stops_signing_only(open_log: Open, folder: Path) -> None:
    log = open_log()
    (folder / KEY).rename(folder / "away")
    assert log.append(other_entry()) == 0
    with pytest.raises(StoreUnavailable, match="there is no key"):
        log.checkpoint()
    assert log.append(other_entry()) == 1
    (folder / "away").rename(folder / KEY)
    assert read(log, log.checkpoint()).size == 2


def test_a_checkpoint_that_the_database_lost_is_put_back(open_log: Open) -> None:
    log = open_log()
    fill(log, 3)
    note = log.checkpoint()
    change(log, "DELETE FROM checkpoints WHERE size = 3")
    again = open_log()
    assert again.state.fault is None
    assert [one.note for one in again.checkpoints()][-1] == note


def test_threads_of_two_logs_never_sign_two_roots_for_one_size(open_log: Open) -> None:
    logs = [open_log(), open_log()]
    notes: list[str] = []

    def work(log: Log) -> None:
        for number in range(10):
            log.append(other_entry(number))
            notes.append(log.checkpoint())

    threads = [threading.Thread(target=work, args=(log,)) for log in logs for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(notes) == 40
    kept = {one.size: one.note for one in logs[0].checkpoints()}
    assert all(kept[read(logs[0], note).size] == note for note in notes)
    for log in logs:
        for old in sorted(kept)[1:]:
            assert log.consistency(old, 40).old_root == read(log, kept[old]).root


def test_the_public_keys_are_those_of_now_though_another_process_changed_the_key(open_log: Open) -> None:
    log, other = open_log(), open_log()
    new = other.rotate_key()
    assert log.verifier_keys == other.verifier_keys
    assert log.verifier_keys[-1] == new
    assert read(log, log.checkpoint()).size == log.size


def test_a_decision_kept_under_another_id_or_organisation_is_not_given(open_log: Open) -> None:
    log = open_log()
    one, two, three = (decision_entry(number) for number in range(3))
    foreign = decision_entry(4, organisation="elsewhere")
    for entry in (one, two, three, foreign):
        log.append(entry)
    change(
        log,
        f"UPDATE entries SET id = 'aside' WHERE id = '{one.id}'",  # noqa: S608
        f"UPDATE entries SET id = '{one.id}' WHERE id = '{two.id}'",  # noqa: S608
        f"UPDATE entries SET organisation = 'quillerbeck' WHERE id = '{foreign.id}'",  # noqa: S608
    )
    for entry in (one, foreign):
        with pytest.raises(StoreUnavailable, match="is kept under what it is not"):
            log.decision(entry.id, "quillerbeck")
    assert log.decision(three.id, "quillerbeck") == three.data


@pytest.mark.parametrize("position", [0, 1, 2])
def test_a_decision_that_was_taken_away_was_not_never_there(
    open_log: Open, position: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_module, "COUNT_AGAIN_AFTER", 0.0)
    log = open_log()
    made = [decision_entry(number) for number in range(3)]
    for entry in made:
        log.append(entry)
    assert log.decision("unknown", "quillerbeck") is None
    assert log.decision(made[0].id, "elsewhere") is None
    change(log, f"DELETE FROM entries WHERE position = {position}")  # noqa: S608 - a number
    for wanted in (made[position].id, "unknown"):  # of the second, too, nobody can know it
        with pytest.raises(StoreUnavailable, match="should have 3 entries; it has 2"):
            log.decision(wanted, "quillerbeck")
    for entry in made[:position] + made[position + 1 :]:
        assert log.decision(entry.id, "quillerbeck") == entry.data
    with pytest.raises(StoreUnavailable, match="should have 3 entries"):
        log.append(other_entry())


def test_a_decision_kept_as_something_else_is_not_denied(open_log: Open) -> None:
    log = open_log()
    one, two = decision_entry(1), decision_entry(2)
    for entry in (one, two):
        log.append(entry)
    change(
        log,
        f"UPDATE entries SET kind = 'act_refused' WHERE id = '{one.id}'",  # noqa: S608
        f"UPDATE entries SET organisation = 'elsewhere' WHERE id = '{two.id}'",  # noqa: S608
    )
    for entry in (one, two):
        with pytest.raises(StoreUnavailable, match="is kept under what it is not"):
            log.decision(entry.id, "quillerbeck")


def test_a_growing_log_is_signed_by_itself(open_log: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log_module, "SIGN_EVERY", 0.0)
    log = open_log()
    log.append(other_entry())
    last = log.store.last_checkpoint()
    for _ in range(200):
        last = log.store.last_checkpoint()
        if last is not None and last.size == log.size:
            break
        time.sleep(0.02)
    assert last is not None
    assert last.size == log.size


def test_what_was_appended_is_signed_when_the_log_is_closed(open_log: Open, address: str) -> None:
    log = open_log()
    log.append(other_entry())
    size = log.size
    log.close()
    store = EntryStore(open_database(address))
    last = store.last_checkpoint()
    store.close()
    assert last is not None
    assert last.size == size


def test_a_folder_of_keys_that_breaks_stops_signing_but_not_deciding(
    open_log: Open, folder: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(log_module, "SIGN_EVERY", 0.0)
    log = open_log()
    log.check()
    assert not failing(log)
    folder.rename(folder.with_name("aside"))
    log.check()  # nothing was appended, and yet it is seen
    since = log.signing.failing_since
    assert failing(log)
    assert caplog.text.count("cannot be signed") == 1
    positions = [log.append(other_entry()) for _ in range(3)]
    log.check()
    assert positions == [log.size - 3, log.size - 2, log.size - 1]
    assert log.signing.failing_since == since
    folder.with_name("aside").rename(folder)
    assert read(log, log.checkpoint()).size == log.size
    log.check()
    assert not failing(log)
    assert "signed again" in caplog.text


def failing(log: Log) -> bool:
    return log.signing.failing_since is not None


@pytest.mark.parametrize("unreadable", [False, True])
def test_a_log_that_is_not_signed_for_too_long_is_not_ready(
    address: str, folder: Path, unreadable: bool, caplog: pytest.LogCaptureFixture
) -> None:
    log = Log(EntryStore(open_database(address)), KeyFolder(folder), ORIGIN, signing_grace=0)
    log.append(other_entry())
    log.check()
    aside = folder.with_name("aside")
    if unreadable:
        folder.chmod(0o777)
    else:
        folder.rename(aside)
    for _ in range(3):
        with pytest.raises(StoreUnavailable, match="cannot be signed since"):
            log.check()
    assert caplog.text.count("not ready any more") == 1
    assert log.append(other_entry()) == 1
    if unreadable:
        folder.chmod(0o700)
    else:
        aside.rename(folder)
    log.checkpoint()
    log.check()
    log.close()


def test_a_clock_that_is_set_back_loses_nothing_and_is_told_once(
    address: str, folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    moments = [NOON, NOON + timedelta(hours=1)]
    log = Log(EntryStore(open_database(address)), KeyFolder(folder), ORIGIN, clock=lambda: moments[-1])
    log.append(decision_entry(at=NOON + timedelta(days=1)))
    log.checkpoint()
    moments.append(NOON - timedelta(days=3))
    assert caplog.text == ""
    for number in range(3):
        log.append(decision_entry(number))
    assert caplog.text.count("the clock went back") == 1
    assert read(log, log.checkpoint()).size == 4
    consistency = log.consistency(1, 4)
    assert verify_consistency(1, 4, consistency.old_root, consistency.root, consistency.hashes)
    listed = log.find_decisions(DecisionFilter("quillerbeck"), None, 9)
    assert [one.position for one in listed] == [3, 2, 1, 0]
    assert [one.decided_at for one in listed][-1] == NOON + timedelta(days=1)
    early = DecisionFilter("quillerbeck", decided_before=NOON + timedelta(hours=1))
    assert [one.position for one in log.find_decisions(early, None, 9)] == [3, 2, 1]
    late = DecisionFilter("quillerbeck", decided_from=NOON + timedelta(hours=1))
    assert [one.position for one in log.find_decisions(late, None, 9)] == [0]
    log.append(decision_entry(at=NOON + timedelta(days=2)))
    log.append(decision_entry(at=NOON))
    assert caplog.text.count("the clock went back") == 2
    log.close()
    again = Log(EntryStore(open_database(address)), KeyFolder(folder), ORIGIN)
    assert again.state.fault is None
    again.close()
