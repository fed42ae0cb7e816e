"""A log in a database is exported whole, and what was changed in the database is named from its export."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.export import export_log
from limbtier.audit.log import Log
from limbtier.audit.stored_log import StoredLog
from limbtier.audit.verify_export import verify_export
from limbtier.foundation.errors import StoreUnavailable
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from limbtier.store.packing import packed
from tests.support.log_entries import decision_entry


@pytest.fixture
def log(address: str, tmp_path: Path) -> Iterator[Log]:
    """Return a log with entries, a changed key, and entries after that."""
    opened = open_log(address, tmp_path)
    opened.store.append([decision_entry(number) for number in range(5)])
    (tmp_path / "kept").write_text(opened.checkpoint(), encoding="utf-8")
    opened.rotate_key()
    opened.store.append([decision_entry(number) for number in range(5, 200)])
    opened.checkpoint()
    yield opened
    opened.close()


def open_log(address: str, folder: Path) -> Log:
    return Log(EntryStore(open_database(address)), KeyFolder(folder / "keys"), "log.invalid/quillerbeck")


def execute(log: Log, statement: str) -> None:
    with log.store.database.writing() as cursor:
        cursor.execute(statement)


def test_a_log_in_a_database_is_exported_whole(log: Log, tmp_path: Path) -> None:
    log.store.append([decision_entry(200)])  # signed by the export
    assert export_log(StoredLog(log, KeyFolder(tmp_path / "keys")), tmp_path / "export").size == 202
    report = verify_export(tmp_path / "export", tmp_path / "kept")
    assert [str(damage) for damage in report.damages] == []
    assert report.entries == 202


@pytest.mark.parametrize("position", [3, 195])
@pytest.mark.parametrize("changed", [packed(b'{"id":"x","kind":"decision"}'), b"no entry"])
def test_an_entry_changed_in_the_database_is_named(
    log: Log, address: str, tmp_path: Path, position: int, changed: bytes
) -> None:
    """At 195 the log notices it itself when it is opened, and signs nothing any more."""
    as_bytes = f"X'{changed.hex()}'" if "://" not in address else f"decode('{changed.hex()}', 'hex')"
    execute(log, f"UPDATE entries SET data = {as_bytes} WHERE position = {position}")  # noqa: S608
    again = open_log(address, tmp_path)
    assert (again.state.fault is None) == (position == 3)
    export_log(StoredLog(again, KeyFolder(tmp_path / "keys")), tmp_path / "export")
    again.close()
    damages = verify_export(tmp_path / "export", tmp_path / "kept").damages
    assert [one.position for one in damages if one.code == "entry-changed"] == [position]


def test_a_log_that_lost_an_entry_is_not_exported(log: Log, tmp_path: Path) -> None:
    execute(log, "DELETE FROM entries WHERE position = 100")
    with pytest.raises(StoreUnavailable):
        export_log(StoredLog(log, KeyFolder(tmp_path / "keys")), tmp_path / "export")
    assert not (tmp_path / "export").exists()
