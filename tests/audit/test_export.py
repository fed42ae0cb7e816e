"""An export appears whole or not at all, and holds what the log holds."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from limbtier.audit import export as module
from limbtier.audit.export import ExportRefused, export_log
from limbtier.audit.verify_export import verify_export
from tests.audit.small_log import SmallLog, decision, rotated_log, small_log


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """Return the checkpoint over the first seven entries, as an auditor keeps it."""
    path = tmp_path / "kept"
    path.write_text(small_log().notes[2], encoding="utf-8")
    return path


def test_an_export_holds_every_entry_in_order_and_is_whole(tmp_path: Path, kept: Path) -> None:
    log = small_log()
    checkpoint = export_log(log, tmp_path / "export", entries_per_file=4)
    files = sorted((tmp_path / "export" / "entries").iterdir())
    assert [path.name for path in files] == ["000000000000.jsonl", "000000000004.jsonl", "000000000008.jsonl"]
    assert b"".join(path.read_bytes() for path in files) == b"".join(one + b"\n" for one in log.entries)
    assert checkpoint.size == 10
    assert verify_export(tmp_path / "export", kept).whole
    assert "limbtier verify FOLDER --checkpoint FILE" in (tmp_path / "export" / "README.txt").read_text()
    assert sorted(os.listdir(tmp_path)) == ["export", "kept"]  # noqa: PTH208 - hidden names count too


def test_entries_behind_the_newest_checkpoint_are_left_out(tmp_path: Path, kept: Path) -> None:
    """They came while the export was made; the next one has them."""

    class GrowingLog(SmallLog):
        def checkpoint(self) -> str:
            note = super().checkpoint()
            self.append(decision(10), decision(11))
            self.sign()
            return note

    log = GrowingLog()
    for entry in small_log().entries:
        log.append_bytes(entry)
    log.sign()
    assert export_log(log, tmp_path / "export").size == 10
    report = verify_export(tmp_path / "export", kept)
    assert (report.whole, report.entries) == (True, 10)


def test_an_empty_log_and_one_with_changed_keys_are_exported_whole(tmp_path: Path) -> None:
    for name, log in (("empty", SmallLog()), ("rotated", rotated_log())):
        if not log.notes:
            log.sign()
        (tmp_path / f"kept {name}").write_text(log.notes[0], encoding="utf-8")
        export_log(log, tmp_path / name)
        assert verify_export(tmp_path / name, tmp_path / f"kept {name}").whole


def test_a_damaged_store_is_exported_as_it_is_and_the_entry_is_named(tmp_path: Path, kept: Path) -> None:
    """The leaf hashes are those kept when the entries were appended."""
    log = small_log()
    log.entries[3] = log.entries[3].replace(b"standard", b"strong")
    export_log(log, tmp_path / "export")
    damages = verify_export(tmp_path / "export", kept).damages
    assert [(one.position, one.id) for one in damages if one.code == "entry-changed"] == [(3, "decision-3")]


@pytest.mark.parametrize("kind", ["folder", "file", "link"])
def test_what_exists_is_never_written_over(tmp_path: Path, kind: str) -> None:
    target = tmp_path / "export"
    if kind == "folder":
        target.mkdir()
    elif kind == "file":
        target.write_text("mine", encoding="utf-8")
    else:
        target.symlink_to("nowhere")
    with pytest.raises(ExportRefused, match="exists already"):
        export_log(small_log(), target)
    assert [path.name for path in tmp_path.iterdir()] == ["export"]


def test_an_export_that_fails_leaves_nothing(tmp_path: Path) -> None:
    class FailingLog(SmallLog):
        def entries_from(self, position: int) -> Iterator[bytes]:
            yield self.entries[0]
            raise OSError("the disk is gone")

    log = FailingLog()
    log.append(decision(0), decision(1))
    log.sign()
    with pytest.raises(OSError, match="the disk is gone"):
        export_log(log, tmp_path / "export")
    assert list(tmp_path.iterdir()) == []


def test_a_store_that_lost_entries_is_not_exported(tmp_path: Path) -> None:
    log = small_log()
    del log.entries[5]
    with pytest.raises(ExportRefused, match="9 of the 10 entries"):
        export_log(log, tmp_path / "export")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_appears_meanwhile_is_left_alone(tmp_path: Path) -> None:
    target = tmp_path / "export"
    with pytest.raises(ExportRefused, match="exists already"):
        export_log(small_log(), target, progress=lambda *_: target.mkdir(exist_ok=True))
    assert list(target.iterdir()) == []
    assert [path.name for path in tmp_path.iterdir()] == ["export"]


def test_progress_is_told_up_to_the_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "PROGRESS_EVERY", 4)
    told: list[tuple[int, int]] = []
    export_log(small_log(), tmp_path / "export", progress=lambda *one: told.append(one))
    assert told == [(4, 10), (8, 10), (10, 10)]


def test_the_export_is_for_its_owner_only(tmp_path: Path) -> None:
    export_log(small_log(), tmp_path / "export")
    assert (tmp_path / "export").stat().st_mode & 0o077 == 0
