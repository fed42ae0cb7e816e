"""`limbtier backup`, `restore` and `rotate-key`, as an operator types them."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import orjson
import pytest

from limbtier.cli import main
from limbtier.foundation.settings import read_settings
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from limbtier.use_cases.open_log import open_log
from tests.support.log_entries import decision_entry

Captured = pytest.CaptureFixture[str]


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the database of a log of 4 entries, which is signed."""
    file = tmp_path / "log.sqlite3"
    serve_from(file, tmp_path, monkeypatch)
    append(4)
    return file


def serve_from(file: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LIMBTIER_DATABASE", str(file))
    monkeypatch.setenv("LIMBTIER_LOG_KEYS", str(folder / "keys"))


def append(count: int) -> None:
    import os

    _, log = open_log(read_settings(os.environ))
    for number in range(count):
        log.append(decision_entry(number))
    log.checkpoint()
    log.close()


def test_a_backup_comes_back(
    file: Path, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert main(["backup", str(tmp_path / "backup")]) == 0
    said = capsys.readouterr().out
    assert f"Backed up 5 entries to {tmp_path / 'backup'}" in said
    assert f"Keep a copy of {tmp_path / 'keys'}" in said
    serve_from(tmp_path / "again.sqlite3", tmp_path, monkeypatch)
    assert main(["restore", str(tmp_path / "backup")]) == 0
    assert "Put back 6 entries" in capsys.readouterr().out
    store = EntryStore(open_database(tmp_path / "again.sqlite3"))
    entry = store.entry(4)
    assert entry is not None
    record = orjson.loads(entry.data)
    assert (record["kind"], record["size"]) == ("log_backed_up", 4)
    assert record["checkpoint"].startswith("limbtier.invalid/log\n4\n")
    store.close()
    append(1)


def test_what_is_refused_says_what_to_do(
    file: Path, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    backup = tmp_path / "backup"
    assert main(["backup", str(backup)]) == 0
    assert main(["backup", str(backup)]) == 2
    assert main(["restore", str(backup)]) == 2
    assert capsys.readouterr().err.count("is there already") == 2
    append(1)
    serve_from(tmp_path / "again.sqlite3", tmp_path, monkeypatch)
    assert main(["restore", str(backup)]) == 2
    assert "has 5 entries, but 6 were signed" in capsys.readouterr().err
    assert main(["restore", str(backup), "--lost-entries", "the disk burnt"]) == 0
    said = capsys.readouterr().out
    assert "under another name and key from now on: limbtier.invalid/log/restored-1" in said
    assert "All local keys are revoked" in said
    append(1)
    serve_from(tmp_path / "kept.sqlite3", tmp_path, monkeypatch)
    assert main(["restore", str(backup), "--lost-entries", "the disk burnt", "--keep-keys"]) == 0
    assert "works again, so look at" in capsys.readouterr().out
    monkeypatch.setenv("LIMBTIER_DATABASE", str(tmp_path / "missing.sqlite3"))
    for command in (["backup", str(tmp_path / "other")], ["rotate-key"]):
        assert main(command) == 2
        assert "There is no database" in capsys.readouterr().err
    assert not (tmp_path / "missing.sqlite3").exists()


def test_what_decisions_are_found_by_is_compared_and_made_anew(file: Path, capsys: Captured) -> None:
    assert main(["verify-index"]) == 0
    assert "Every decision of 4 entries is found by what its entry says." in capsys.readouterr().out
    assert main(["rebuild-index"]) == 0
    assert "Nothing had to be put right." in capsys.readouterr().out
    with closing(sqlite3.connect(file)) as connection, connection:
        connection.execute("DELETE FROM decisions WHERE position = 2")
        connection.execute("UPDATE decided_limbs SET tier = 'none' WHERE position = 1")
    assert main(["verify-index"]) == 1
    said = "Decisions that are not found by what their entries say: 2, at position 1, 2."
    assert capsys.readouterr().out.startswith(f"{said}\nMake it anew from the log: limbtier rebuild-index\n")
    assert main(["rebuild-index"]) == 0
    assert f"{said} It was put right." in capsys.readouterr().out
    assert main(["verify-index"]) == 0
    store = EntryStore(open_database(file))
    last = store.entry(4)
    assert last is not None
    record = orjson.loads(last.data)
    assert (record["kind"], record["decisions"], record["rows_outside"]) == ("index_rebuilt", 2, 0)
    store.close()


def test_a_database_of_an_older_version_is_backed_up_as_it_is(
    file: Path, tmp_path: Path, capsys: Captured
) -> None:
    with closing(sqlite3.connect(file)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '0000'")
    main(["backup", str(tmp_path / "backup")])
    assert "no entry about this backup" in capsys.readouterr().out
    with closing(sqlite3.connect(file)) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchone() == ("0000",)


def test_a_folder_named_for_a_file_is_told(file: Path, tmp_path: Path, capsys: Captured) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    assert main(["decide", str(folder)]) == 2
    assert capsys.readouterr().err == f"limbtier: `{folder}` is a folder; name a file in it.\n"


def test_what_a_name_hides_is_shown(file: Path, tmp_path: Path, capsys: Captured) -> None:
    """A control sequence of a terminal (ECMA-48), and a character that turns the direction of writing."""
    assert main(["restore", str(tmp_path / "\x1b[2Jback\u202eup")]) == 2
    said = capsys.readouterr().err
    assert "\\x1b[2Jback\\u202eup" in said
    assert not {"\x1b", "\u202e"} & set(said)


def test_a_backup_with_a_write_ahead_log_beside_it_is_told(
    file: Path, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    backup = tmp_path / "backup"
    assert main(["backup", str(backup)]) == 0
    backup.with_name("backup-wal").write_bytes(b"")
    serve_from(tmp_path / "again.sqlite3", tmp_path, monkeypatch)
    assert main(["restore", str(backup)]) == 0
    assert f"`{backup}-wal` lies beside the backup" in capsys.readouterr().out


def test_a_key_is_changed(file: Path, capsys: Captured) -> None:
    assert main(["rotate-key"]) == 0
    key = capsys.readouterr().out.splitlines()[-1]
    assert key.startswith("limbtier.invalid/log+")
    append(1)
