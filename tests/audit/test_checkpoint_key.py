"""The folder of the log's key: made for its owner alone, and refused when it is anybody else's."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from limbtier.audit.checkpoint_key import CHECKPOINT, KEY, NEXT, KeyFolder, KeysUnusable, Rotation

ORIGIN = "log.invalid/quillerbeck"


@pytest.fixture
def folder(tmp_path: Path) -> KeyFolder:
    return KeyFolder(tmp_path / "keys")


def mode(path: Path) -> str:
    return f"{stat.S_IMODE(path.stat().st_mode):03o}"


def test_a_first_key_is_made_for_its_owner_alone(folder: KeyFolder) -> None:
    assert folder.read() is None
    assert not folder.path.exists()
    keys = folder.make(ORIGIN)
    assert (mode(folder.path), mode(folder.path / KEY)) == ("700", "600")
    assert folder.read() == keys
    assert keys.verifiers == (keys.signing.verifier,)
    assert keys.signing.name == ORIGIN


def test_a_mask_of_the_process_opens_nothing(folder: KeyFolder) -> None:
    before = os.umask(0)
    try:
        folder.make(ORIGIN)
        folder.keep_checkpoint("a note\n")
    finally:
        os.umask(before)
    assert (mode(folder.path), mode(folder.path / KEY), mode(folder.path / CHECKPOINT)) == (
        "700",
        "600",
        "600",
    )


def test_two_first_keys_differ(tmp_path: Path) -> None:
    first, second = (KeyFolder(tmp_path / name).make(ORIGIN) for name in "ab")
    assert first.signing.verifier != second.signing.verifier


def test_the_last_checkpoint_is_kept_whole(folder: KeyFolder) -> None:
    folder.make(ORIGIN)
    assert folder.read_checkpoint() is None
    for note in ("first\n", "second — with a dash\n"):
        folder.keep_checkpoint(note)
        assert folder.read_checkpoint() == note
    assert sorted(path.name for path in folder.path.iterdir()) == [CHECKPOINT, KEY]


def test_a_change_of_keys_keeps_the_old_public_key_and_forgets_the_old_secret(folder: KeyFolder) -> None:
    first = folder.make(ORIGIN)
    for number in range(2):
        before = folder.read()
        assert before is not None
        folder.begin_rotation(Rotation(f"entry-{number}", before.followed_by(ORIGIN)))
        assert folder.read() == before
        folder.end_rotation()
    after = folder.read()
    assert after is not None
    assert len(after.verifiers) == 3
    assert after.verifiers[0] == first.signing.verifier
    assert first.signing.secret_text() not in (folder.path / KEY).read_text(encoding="utf-8")
    assert not (folder.path / NEXT).exists()


def test_a_change_of_keys_can_be_dropped(folder: KeyFolder) -> None:
    keys = folder.make(ORIGIN)
    rotation = Rotation("entry", keys.followed_by(ORIGIN))
    folder.begin_rotation(rotation)
    assert folder.read_rotation() == rotation
    folder.drop_rotation()
    folder.drop_rotation()
    assert folder.read_rotation() is None
    folder.end_rotation()
    assert folder.read() == keys


@pytest.mark.parametrize("bits", [0o640, 0o604, 0o660, 0o644])
def test_a_key_that_others_can_read_is_refused(folder: KeyFolder, bits: int) -> None:
    folder.make(ORIGIN)
    (folder.path / KEY).chmod(bits)
    with pytest.raises(KeysUnusable, match=f"Others may use .*{KEY}`: its mode is {bits:o}") as caught:
        folder.read()
    assert f"chmod 600 {folder.path / KEY}" in str(caught.value)
    assert "PRIVATE" not in str(caught.value)


@pytest.mark.parametrize("bits", [0o750, 0o711, 0o777])
def test_a_folder_that_others_can_enter_is_refused(folder: KeyFolder, bits: int) -> None:
    folder.make(ORIGIN)
    folder.path.chmod(bits)
    for work in (folder.read, folder.read_checkpoint, lambda: folder.keep_checkpoint("x\n")):
        with pytest.raises(KeysUnusable, match="Others may use"):
            work()


def test_a_folder_that_is_there_must_be_closed_before_a_key_is_made(folder: KeyFolder) -> None:
    folder.path.mkdir(mode=0o755)
    folder.path.chmod(0o755)
    with pytest.raises(KeysUnusable, match="Others may use"):
        folder.make(ORIGIN)
    assert list(folder.path.iterdir()) == []


def test_links_are_refused(folder: KeyFolder, tmp_path: Path) -> None:
    folder.make(ORIGIN)
    elsewhere = tmp_path / "elsewhere"
    (folder.path / KEY).rename(elsewhere)
    (folder.path / KEY).symlink_to(elsewhere)
    with pytest.raises(KeysUnusable, match="without links"):
        folder.read()
    (folder.path / KEY).unlink()
    elsewhere.rename(folder.path / KEY)
    link = tmp_path / "link"
    link.symlink_to(folder.path)
    with pytest.raises(KeysUnusable, match="without links"):
        KeyFolder(link).read()


def test_a_link_in_the_place_of_a_checkpoint_is_replaced_not_followed(
    folder: KeyFolder, tmp_path: Path
) -> None:
    folder.make(ORIGIN)
    victim = tmp_path / "victim"
    victim.write_text("untouched", encoding="utf-8")
    (folder.path / CHECKPOINT).symlink_to(victim)
    folder.keep_checkpoint("a note\n")
    assert victim.read_text(encoding="utf-8") == "untouched"
    assert not (folder.path / CHECKPOINT).is_symlink()


@pytest.mark.parametrize("content", [b"", b"no key\n", b"\xff\xfe", b"PRIVATE+KEY+a+b+c\n"])
def test_a_file_that_holds_no_key_is_refused(folder: KeyFolder, content: bytes) -> None:
    folder.make(ORIGIN)
    (folder.path / KEY).write_bytes(content)
    with pytest.raises(KeysUnusable) as caught:
        folder.read()
    assert "help: " in str(caught.value)


def test_what_is_no_file_or_no_folder_is_refused(folder: KeyFolder) -> None:
    folder.path.write_text("a file", encoding="utf-8")
    with pytest.raises(KeysUnusable):
        folder.read()
    with pytest.raises(KeysUnusable):
        folder.make(ORIGIN)
    folder.path.unlink()
    folder.make(ORIGIN)
    (folder.path / KEY).unlink()
    os.mkfifo(folder.path / KEY, 0o600)
    with pytest.raises(KeysUnusable, match="is no plain file"):
        folder.read()


@pytest.mark.skipif(os.geteuid() != 0, reason="needs root, to give a file to somebody else")
def test_a_key_of_somebody_else_is_refused(folder: KeyFolder) -> None:
    folder.make(ORIGIN)
    os.chown(folder.path / KEY, 12345, -1)
    with pytest.raises(KeysUnusable, match="It belongs to user 12345"):
        folder.read()


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    with pytest.raises(KeysUnusable, match="cannot be made"):
        KeyFolder(tmp_path / "missing" / "keys").make(ORIGIN)


def test_no_secret_is_shown(folder: KeyFolder) -> None:
    keys = folder.make(ORIGIN)
    secret = keys.signing.secret_text().rpartition("+")[2]
    assert secret not in repr(keys)
    assert repr(keys.signing.seed) not in repr(keys)
