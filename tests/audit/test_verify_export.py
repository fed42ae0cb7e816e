"""Each kind of damage to an export is found and named, and nothing else is."""

from __future__ import annotations

import ast
import os
import shutil
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbtier.audit import export_files, leaf_alignment
from limbtier.audit.export import export_log
from limbtier.audit.export_damage import MEANINGS, MOST_OF_A_CODE, Damages, printable
from limbtier.audit.verify_export import WITHOUT_EXPECTED, verify_export
from limbtier.foundation.signed_note import InvalidNote
from tests.audit.small_log import KEY, NEW_KEY, STRANGER, SmallLog, decision, released, small_log
from tests.audit.tampered.generate import PER_FILE, generate, line_of, made

TAMPERED = Path(__file__).parent / "tampered"
CASES: list[dict[str, Any]] = tomllib.loads((TAMPERED / "expected.toml").read_text(encoding="utf-8"))["case"]
KEYS = {"first": KEY, "second": NEW_KEY, "stranger": STRANGER}
AT_7 = TAMPERED / "kept" / "at_7"
# Found in no folder, because a folder cannot hold it in every checkout; each has its own test below.
ELSEWHERE = {"entry-too-long", "file-not-plain"}


def codes(folder: Path, kept: Path | None = AT_7) -> set[str]:
    return {damage.code for damage in verify_export(folder, kept).damages}


def files_of(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }


@pytest.fixture(autouse=True, scope="module")
def _without_waiting_for_the_disk() -> Iterator[None]:
    """Exports of these tests need not survive a loss of power."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda _: None)
        yield


@pytest.fixture
def export(tmp_path: Path) -> Path:
    """Return a whole export to spoil."""
    return made(small_log(), tmp_path / "export").folder


# The exports on disk.


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['export']}-{case.get('kept', 'at_7')}")
def test_a_tampered_export_has_exactly_the_damage_it_should(case: dict[str, Any]) -> None:
    kept = TAMPERED / "kept" / case.get("kept", "at_7")
    given_keys = [KEYS[name].verifier for name in case.get("given", [])]
    report = verify_export(TAMPERED / case["export"], kept, given_keys)
    assert {damage.code for damage in report.damages} == set(case["codes"])
    named = {damage.position for damage in report.damages if damage.position is not None}
    assert named == set(case.get("positions", []))
    assert report.whole == (not case["codes"])
    assert report.limits == ()
    assert report.omitted == {}


def test_every_export_on_disk_and_every_code_has_a_case() -> None:
    folders = {path.name for path in TAMPERED.iterdir() if path.is_dir()} - {"kept", "__pycache__"}
    assert {case["export"] for case in CASES} == folders
    assert {code for case in CASES for code in case["codes"]} == set(MEANINGS) - ELSEWHERE
    assert len([case for case in CASES if case["codes"]]) >= 25


def test_the_exports_on_disk_are_those_that_the_generator_makes(tmp_path: Path) -> None:
    generate(tmp_path)
    on_disk = {
        name: data
        for name, data in files_of(TAMPERED).items()
        if "/" in name and not name.startswith("__pycache__/")
    }
    assert files_of(tmp_path) == on_disk


# Any change at all.


def test_no_byte_of_an_export_can_be_changed_unseen(tmp_path: Path) -> None:
    """Every byte of every file but the text for people, one bit of it."""
    log = SmallLog()
    for number in range(3):
        log.append({"id": f"{number}", "kind": "decision"})
        log.sign()
    export = made(log, tmp_path / "export").folder
    kept = tmp_path / "kept"
    kept.write_text(log.notes[0], encoding="utf-8")
    unseen = []
    for name, data in files_of(export).items():
        for place in range(len(data)):
            changed = bytearray(data)
            changed[place] ^= 1 << place % 8
            (export / name).write_bytes(changed)
            if verify_export(export, kept).whole:
                unseen.append((name, place))
        (export / name).write_bytes(data)
    assert verify_export(export, kept).whole
    assert unseen == []


NAMES = sorted(files_of(TAMPERED / "whole"))


@given(st.sampled_from(NAMES), st.data())
@settings(max_examples=150)
def test_no_run_of_bytes_can_be_cut_out_put_in_or_replaced_unseen(name: str, data: st.DataObject) -> None:
    folder = WORK.export()
    original = (folder / name).read_bytes()
    start = data.draw(st.integers(0, len(original)))
    end = data.draw(st.integers(start, min(len(original), start + 300)))
    put_in = data.draw(st.binary(max_size=80) | st.just(original[:end]))
    changed = original[:start] + put_in + original[end:]
    (folder / name).write_bytes(changed)
    try:
        assert verify_export(folder, AT_7).whole == (changed == original)
    finally:
        (folder / name).write_bytes(original)


class Work:
    """One export for all examples of a property."""

    def __init__(self) -> None:
        self.folder: Path | None = None

    def export(self) -> Path:
        assert self.folder is not None
        return self.folder


WORK = Work()


@pytest.fixture(autouse=True, scope="module")
def work(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Make the export that the property spoils and mends."""
    WORK.folder = made(small_log(), tmp_path_factory.mktemp("work") / "export").folder
    yield
    WORK.folder = None


@given(size=st.integers(1, 40), data=st.data())
@settings(max_examples=60)
def test_a_dropped_added_changed_or_moved_entry_is_named(
    tmp_path_factory: pytest.TempPathFactory, size: int, data: st.DataObject
) -> None:
    log = small_log(size, signed_at=(size,))
    folder = tmp_path_factory.mktemp("one") / "export"
    export_log(log, folder, entries_per_file=1000)
    kept = folder.parent / "kept"
    kept.write_text(log.checkpoint(), encoding="utf-8")
    place = data.draw(st.integers(0, size - 1))
    other = data.draw(st.integers(0, size - 1))
    file = folder / "entries" / export_files.entries_name(0)
    lines = file.read_bytes().splitlines(keepends=True)
    what = data.draw(st.sampled_from(["missing", "added", "changed", "moved"]))
    if what == "missing":
        del lines[place]
    elif what == "added":
        lines.insert(place, b'{"id":"new","kind":"decision"}\n')
    elif what == "changed":
        lines[place] = lines[place].replace(b'"kind":"', b'"kind":"x')
    else:
        lines.insert(other, lines.pop(place))
    file.write_bytes(b"".join(lines))
    found = {
        (damage.code, damage.position)
        for damage in verify_export(folder, kept).damages
        if damage.code in {"entry-missing", "entry-added", "entry-changed", "entry-moved"}
    }
    if what != "moved":
        assert found == {(f"entry-{what}", place)}
    elif place == other:
        assert found == set()
    elif abs(place - other) == 1:
        assert found == {("entry-moved", max(place, other))}
    else:
        assert found == {("entry-moved", other)}


# Large and hostile exports.


def test_many_damages_of_a_kind_are_counted_and_only_the_first_listed(export: Path) -> None:
    log = small_log(100, signed_at=(7, 100))
    shutil.rmtree(export)
    export_log(log, export)
    file = export / "entries" / export_files.entries_name(0)
    file.write_bytes(file.read_bytes().replace(b'"received":"', b'"received":"x'))
    report = verify_export(export, AT_7)
    changed = [damage.position for damage in report.damages if damage.code == "entry-changed"]
    assert changed == list(range(1, MOST_OF_A_CODE + 1))
    assert report.omitted == {"entry-changed": 99 - MOST_OF_A_CODE}


def test_differences_without_end_are_given_up(export: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(leaf_alignment, "MOST_DIFFERENCES", 4)
    (export / "leaf_hashes").write_bytes(line_of(b"x") * 10)
    report = verify_export(export, AT_7)
    assert any("more differences" in damage.message for damage in report.damages)


def test_a_missing_file_in_the_middle_is_one_run_of_missing_entries(tmp_path: Path) -> None:
    log = small_log(900, signed_at=(7, 900))
    export_log(log, tmp_path / "export", entries_per_file=300)
    (tmp_path / "export" / "entries" / export_files.entries_name(300)).unlink()
    report = verify_export(tmp_path / "export", AT_7)
    missing = [damage for damage in report.damages if damage.code == "entry-missing"]
    assert [(one.position, one.message) for one in missing] == [
        (300, "The 300 entries from position 300 on are missing.")
    ]
    assert "entry-changed" not in {damage.code for damage in report.damages}


@pytest.mark.parametrize("name", ["leaf_hashes", "checkpoints", "checkpoint", "keys", "entries"])
def test_a_file_without_end_is_damage_and_is_not_read_through(
    export: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sparse file of a terabyte takes no room, and would take an hour to read."""
    monkeypatch.setattr(export_files, "MOST_ENTRY_BYTES", 100_000)
    path = export / name
    if name == "entries":
        path /= export_files.entries_name(0)
    os.truncate(path, 2**40)
    report = verify_export(export, AT_7)
    assert not report.whole
    assert report.entries <= 11


def test_a_line_longer_than_any_entry_is_named(export: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(export_files, "MOST_ENTRY_BYTES", 1000)
    file = export / "entries" / export_files.entries_name(0)
    lines = file.read_bytes().splitlines(keepends=True)
    lines[2] = b"x" * 100_000 + b"\n"
    file.write_bytes(b"".join(lines))
    report = verify_export(export, AT_7)
    assert ("entry-too-long", 2) in {(damage.code, damage.position) for damage in report.damages}
    assert "fewer-than-expected" not in {damage.code for damage in report.damages}
    assert report.entries == 7


@pytest.mark.parametrize("name", sorted(export_files.NAMES - {"README.txt"}))
def test_a_link_or_a_folder_in_place_of_a_file_is_damage(export: Path, name: str) -> None:
    path = export / name
    real = export.parent / "elsewhere"
    path.rename(real)
    path.symlink_to(real)
    assert "file-not-plain" in codes(export)
    path.unlink()
    if name == "entries":
        path.write_bytes(b"")
    else:
        path.mkdir()
    assert "file-not-plain" in codes(export)


def test_a_file_of_entries_that_is_a_link_or_a_folder_is_damage(export: Path) -> None:
    path = export / "entries" / export_files.entries_name(PER_FILE)
    path.unlink()
    path.symlink_to("/dev/zero")
    assert "file-not-plain" in codes(export)
    path.unlink()
    path.mkdir()
    assert "file-not-plain" in codes(export)


def test_an_unexpected_file_is_named_printably(export: Path) -> None:
    (export / "\x1b[31mred").write_bytes(b"")
    messages = [str(damage) for damage in verify_export(export, AT_7).damages]
    assert messages == ["The file \\x1b[31mred does not belong to an export."]


def test_nothing_of_an_export_can_steer_a_terminal(export: Path) -> None:
    log = SmallLog()
    log.append(released(0), {"id": "a\x1b[2J\u202eb", "kind": "decision"}, decision(2))
    log.append({"id": "a\x1b[2J\u202eb", "kind": "decision"})
    log.sign()
    shutil.rmtree(export)
    export_log(log, export)
    shown = "".join(str(damage) for damage in verify_export(export, AT_7).damages)
    assert "entry: position 3, id a\\x1b[2J\\u202eb" in shown
    assert shown.isprintable()
    assert printable("plain") == "plain"


@pytest.mark.parametrize(
    "note",
    [
        b"",
        b"\n\n\n",
        b"\xff\xfe",
        b"limbtier.invalid/test-log\n" + b"9" * 30 + b"\nAAAA\n\n",
        b"limbtier.invalid/test-log\n18446744073709551615\n" + b"A" * 43 + b"=\n\n\xe2\x80\x94 a b\n",
        b"a" * 2_000_000,
        b"a\n" * 600_000,
    ],
    ids=["empty", "empty lines", "no text", "size", "largest size", "one long line", "many lines"],
)
@pytest.mark.parametrize("name", ["checkpoint", "checkpoints", "keys", "leaf_hashes"])
def test_hostile_texts_are_damage_and_nothing_worse(export: Path, name: str, note: bytes) -> None:
    (export / name).write_bytes(note)
    report = verify_export(export, AT_7)
    assert not report.whole
    assert all(damage.meaning for damage in report.damages)


def test_a_checkpoint_over_more_entries_than_any_log_has_is_read_in_no_time(export: Path) -> None:
    log = small_log(signed_at=(2, 4, 7))
    note = log.sign().replace("\n10\n", f"\n{2**64 - 1}\n")
    (export / "checkpoint").write_text(note, encoding="utf-8")
    assert {"signature-wrong", "size-differs"} <= codes(export)


def test_a_text_behind_the_checkpoint_that_was_signed_too_is_refused(export: Path) -> None:
    """A signed text that goes on behind an empty line would show another checkpoint to another reader."""
    from limbtier.foundation.signed_note import sign

    text = small_log().checkpoint().partition("\n\n")[0] + "\n\nlimbtier.invalid/test-log\n"
    (export / "checkpoint").write_text(sign(text, [KEY]), encoding="utf-8")
    assert "note-unreadable" in codes(export)


def test_without_an_expected_checkpoint_the_report_says_what_was_not_shown(export: Path) -> None:
    report = verify_export(export, None)
    assert report.whole
    assert report.limits == (WITHOUT_EXPECTED,)
    assert verify_export(TAMPERED / "replaced_key_and_history", None).whole  # which is why


@pytest.mark.parametrize("text", ["", "no note", "limbtier.invalid/test-log\n7\nAAAA\n\n"])
def test_an_expected_checkpoint_that_is_none_is_refused(export: Path, tmp_path: Path, text: str) -> None:
    kept = tmp_path / "kept"
    kept.write_text(text, encoding="utf-8")
    with pytest.raises(InvalidNote, match="holds no checkpoint") as caught:
        verify_export(export, kept)
    assert caught.value.diagnostics[0].file == str(kept)


@pytest.mark.parametrize("name", ["absent", "a_file"])
def test_a_folder_that_is_none_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / "a_file").write_bytes(b"")
    with pytest.raises(OSError, match=name):
        verify_export(tmp_path / name, AT_7)


def test_progress_is_told_up_to_the_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from limbtier.audit import verify_export as module

    monkeypatch.setattr(module, "PROGRESS_EVERY", 4)
    folder = made(small_log(), tmp_path / "export").folder
    told: list[tuple[int, float]] = []
    assert verify_export(folder, AT_7, progress=lambda entries, part: told.append((entries, part))).whole
    assert [entries for entries, _ in told] == [4, 8, 10]
    assert [part for _, part in told] == sorted(part for _, part in told)
    assert told[-1] == (10, 1.0)


# The module stands by itself.


def test_the_verifier_imports_nothing_of_the_service_but_the_foundation() -> None:
    import limbtier.audit.verify_export as module

    package = Path(str(module.__file__)).parents[1]
    seen, todo = set(), ["limbtier.audit.verify_export"]
    while todo:
        name = todo.pop()
        if name in seen or not name.startswith("limbtier"):
            continue
        seen.add(name)
        path = package.parent / (name.replace(".", "/") + ".py")
        path = path if path.is_file() else path.with_suffix("") / "__init__.py"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                todo.append(node.module)
                todo += [f"{node.module}.{one.name}" for one in node.names if node.module == "limbtier.audit"]
            elif isinstance(node, ast.Import):
                todo += [one.name for one in node.names]
    assert all(name.startswith(("limbtier.audit", "limbtier.foundation")) for name in seen)
    assert {"limbtier.audit.export", "limbtier.audit.log", "limbtier.audit.provenance"}.isdisjoint(seen)
    assert "limbtier.audit.key_chain" in seen


def test_no_damage_has_a_code_without_a_meaning() -> None:
    damages = Damages()
    damages.add("no-such-code", "a message")
    with pytest.raises(KeyError):
        assert damages.kept[0].meaning
    assert all(meaning.endswith(".") for meaning in MEANINGS.values())
