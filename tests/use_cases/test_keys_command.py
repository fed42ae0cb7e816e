"""`limbtier keys`: made once, shown once, listed without secrets, revoked for good, and all in the log."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import orjson
import pytest

from limbtier.cli import main
from limbtier.domain.caller import ROLES
from limbtier.store.entries import EntryStore
from limbtier.store.keys import KeyTable
from limbtier.store.opening import open_database
from limbtier.use_cases.authorise import Authoriser

Captured = pytest.CaptureFixture[str]
ADD = ["keys", "add", "--role", "auditor", "--organisation", "quillerbeck"]


@pytest.fixture
def database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "decisions.sqlite3"
    monkeypatch.setenv("LIMBTIER_DATABASE", str(file))
    return file


def added(capsys: Captured) -> tuple[str, str]:
    """A key that the command made, and what was said of it."""
    assert main(ADD) == 0
    captured = capsys.readouterr()
    return captured.out.strip(), captured.err


def test_the_key_alone_is_printed_so_that_a_script_can_take_it(database: Path, capsys: Captured) -> None:
    key, said = added(capsys)
    assert re.fullmatch(r"lt_[0-9a-f]{12}_[0-9a-f]{64}", key)
    assert "shown this once" in said
    assert "like a password" in said
    assert f"limbtier keys revoke {key.split('_')[1]}" in said
    assert key.split("_")[2] not in said


def test_a_key_works_where_the_same_database_is_served_until_it_is_revoked(
    database: Path, capsys: Captured
) -> None:
    key, _ = added(capsys)
    authoriser = Authoriser(KeyTable(open_database(database)))
    authoriser.refresh()
    caller = authoriser.caller(key)
    assert (caller.organisation, caller.scopes) == ("quillerbeck", ROLES["auditor"])
    assert main(["keys", "revoke", key.split("_")[1]]) == 0
    assert "refuses it within seconds" in capsys.readouterr().out
    authoriser.refresh()
    with pytest.raises(Exception, match="key-revoked"):
        authoriser.caller(key)


def test_the_list_shows_every_key_and_no_secret(database: Path, capsys: Captured) -> None:
    keys = [added(capsys)[0] for _ in range(3)]
    main(["keys", "revoke", keys[0].split("_")[1]])
    capsys.readouterr()
    assert main(["keys", "list"]) == 0
    shown = capsys.readouterr().out
    head, *lines = shown.splitlines()
    assert head.split() == ["id", "organisation", "role", "may", "added", "revoked"]
    assert [line.split()[0] for line in lines] == [key.split("_")[1] for key in keys]
    assert [len(re.findall(r"\d{4}-\d{2}-\d{2}", line)) for line in lines] == [2, 1, 1]
    assert not [key for key in keys if key.split("_")[2] in shown]


def test_no_secret_is_in_the_database(database: Path, capsys: Captured) -> None:
    secret = added(capsys)[0].split("_")[2]
    kept = b"".join(file.read_bytes() for file in database.parent.iterdir() if file.is_file())
    assert secret.encode() not in kept
    assert bytes.fromhex(secret) not in kept


def test_every_change_is_an_entry_of_the_log(database: Path, capsys: Captured) -> None:
    key_id = added(capsys)[0].split("_")[1]
    main(["keys", "revoke", key_id])
    store = EntryStore(open_database(database))
    records = [orjson.loads(entry.data) for entry in store.entries_from(0, store.head().size)]
    told = [record for record in records if record["kind"].startswith("key_")]
    assert [record["kind"] for record in told] == ["key_added", "key_revoked"]
    assert all(record["key"] == key_id for record in told)
    assert all(record["caller"] == {"id": "operator", "organisation": None} for record in told)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["keys", "add", "--role", "boss", "--organisation", "x y"], ["unknown-role", "bad-organisation"]),
        (["keys", "revoke", "000000000000"], ["unknown-key", "limbtier keys list"]),
        (["keys", "revoke", "'; DROP TABLE keys; --"], ["unknown-key"]),
    ],
)
def test_what_cannot_be_done_is_named_and_changes_nothing(
    database: Path, capsys: Captured, arguments: list[str], words: list[str]
) -> None:
    assert main(arguments) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert [word for word in words if word not in captured.err] == []
    assert main(["keys", "list"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 1


def test_keys_need_a_database_that_can_be_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    file = tmp_path / "text.sqlite3"
    file.write_text("this is no database, whatever its name says" * 100)
    monkeypatch.setenv("LIMBTIER_DATABASE", str(file))
    assert main(ADD) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "store-unavailable" in captured.err
    assert "Traceback" not in captured.err


@pytest.mark.parametrize("before", ["append", "COMMIT"])
def test_a_command_that_is_killed_leaves_a_key_and_its_entry_or_neither(
    database: Path, capsys: Captured, before: str
) -> None:
    """Killed before the change of the keys' table, and when all but the commit is done."""
    added(capsys)
    store = EntryStore(open_database(database))
    revoked = KeyTable(store.database).all()[0].id
    size = store.head().size
    for arguments in (ADD[1:], ["revoke", revoked]):
        command = [sys.executable, "-c", KILLED, before, *arguments]
        assert subprocess.run(command, check=False).returncode == 9
    assert [key.revoked_at for key in KeyTable(store.database).all()] == [None]
    assert store.head().size == size
    assert main(["keys", "revoke", revoked]) == 0
    assert store.head().size == size + 1


KILLED = """
import os, sys
from limbtier.cli import main
from limbtier.store.keys import KeyTable

def killing(make):
    def changed(keys, *values):
        also = make(keys, *values)
        def act(cursor, position):
            if sys.argv[1] == "COMMIT":
                also(cursor, position)
            os._exit(9)
        return act
    return changed

KeyTable.adding, KeyTable.revoking = killing(KeyTable.adding), killing(KeyTable.revoking)
main(["keys", *sys.argv[2:]])
"""


def test_a_log_that_does_not_prove_itself_takes_no_new_key_and_still_ends_one(
    database: Path, capsys: Captured
) -> None:
    keys = [added(capsys)[0] for _ in range(2)]
    store = EntryStore(open_database(database))
    with store.database.writing() as cursor:
        cursor.execute("UPDATE entries SET data = x'00' WHERE position = 0")
    store.close()
    assert main(ADD) == 2
    assert "Entry 0 of the log is not as it was appended" in capsys.readouterr().err
    assert main(["keys", "revoke", keys[1].split("_")[1]]) == 2
    assert main(["keys", "list"]) == 0
    _, first, second = capsys.readouterr().out.splitlines()
    assert (len(first.split()), len(second.split())) == (6, 7)  # only the second has a day of its end
